//! The frame that all pages share: head, title, steps of a test.

use crate::assets;
use crate::form::encoded;
use crate::shared::OpenTest;
use maud::{DOCTYPE, Markup, html};

/// The pages of a test, in the order in which the work is done.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Step {
    Plan,
    Exposures,
    Negatives,
    Curves,
    Spectra,
    Findings,
    Report,
}

impl Step {
    pub(crate) const ALL: [Self; 7] = [
        Self::Plan,
        Self::Exposures,
        Self::Negatives,
        Self::Curves,
        Self::Spectra,
        Self::Findings,
        Self::Report,
    ];

    pub(crate) fn name(self) -> &'static str {
        match self {
            Self::Plan => "Plan",
            Self::Exposures => "Exposures",
            Self::Negatives => "Negatives",
            Self::Curves => "Curves",
            Self::Spectra => "Spectra",
            Self::Findings => "Findings",
            Self::Report => "Report",
        }
    }

    fn word(self) -> &'static str {
        match self {
            Self::Plan => "plan",
            Self::Exposures => "exposures",
            Self::Negatives => "negatives",
            Self::Curves => "curves",
            Self::Spectra => "spectra",
            Self::Findings => "findings",
            Self::Report => "report",
        }
    }

    /// Gives the address of this page of a test.
    pub(crate) fn of(self, test: &str) -> String {
        format!("/tests/{}/{}", encoded(test), self.word())
    }
}

/// What stands around the body of a page.
#[derive(Clone, Debug)]
pub(crate) struct Frame<'a> {
    /// Title of the page; of a test its own.
    pub(crate) title: &'a str,
    /// The test by its id, and which of its pages this is.
    pub(crate) test: Option<(&'a str, Step)>,
    /// What the browser calls the page, where it is none of the steps.
    pub(crate) called: Option<&'a str>,
    /// Small words over the title.
    pub(crate) about: Option<Markup>,
    /// Modules that the page needs.
    pub(crate) modules: &'a [&'a str],
    /// The token of this run, for what changes something.
    pub(crate) token: &'a str,
    /// Address that is asked again and again where there are no scripts.
    pub(crate) again: Option<&'a str>,
}

impl<'a> Frame<'a> {
    /// A page of no test, without scripts.
    pub(crate) fn plain(title: &'a str) -> Self {
        Self {
            title,
            test: None,
            called: None,
            about: None,
            modules: &[],
            token: "",
            again: None,
        }
    }
}

impl<'a> Frame<'a> {
    /// A page of a test.
    pub(crate) fn of_test(open: &'a OpenTest, id: &'a str, step: Step) -> Self {
        Self {
            test: Some((id, step)),
            ..Self::plain(&open.title)
        }
    }
}

/// Writes a whole page.
pub(crate) fn page(frame: &Frame<'_>, body: Markup) -> Markup {
    let head = match frame.test {
        Some((_, step)) => {
            let called = frame.called.unwrap_or_else(|| step.name());
            app::shown::in_line(&format!("{called}: {}", frame.title))
        }
        None => app::shown::in_line(frame.title),
    };
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                @if !frame.token.is_empty() { meta name="token" content=(frame.token); }
                title { (head) }
                link rel="icon" type="image/svg+xml" href=(assets::address("icon.svg"));
                link rel="stylesheet" href=(assets::address("report.css"));
                link rel="stylesheet" href=(assets::address("pages.css"));
                @for module in frame.modules {
                    script type="module" src=(assets::address(module)) {}
                }
                @if let Some(again) = frame.again {
                    noscript { meta http-equiv="refresh" content=(format!("2;url={again}")); }
                }
            }
            body {
                a.skip href="#main" { "To the content" }
                header.top {
                    p.about {
                        @if frame.title == "Tests" && frame.test.is_none() { "Filmproof" }
                        @else { a href="/" { "All tests" } }
                        @if let Some(about) = &frame.about { " · " (about) }
                    }
                    h1 { (frame.title) }
                    @if let Some((test, here)) = frame.test {
                        nav.steps aria-label="Steps of this test" {
                            ol {
                                @for step in Step::ALL {
                                    li {
                                        a href=(step.of(test)) aria-current=[(step == here).then_some("page")] {
                                            (step.name())
                                        }
                                    }
                                }
                            }
                        }
                    }
                }
                main #main tabindex="-1" { (body) }
                p #said role="status" aria-live="polite" {}
            }
        }
    }
}

/// The hidden field that every form which changes something needs.
pub(crate) fn token_field(token: &str) -> Markup {
    html! { input type="hidden" name=(crate::guard::TOKEN_FIELD) value=(token); }
}
