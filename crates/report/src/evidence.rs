//! The evidence: pictures, figures, criteria side by side, causes of
//! uncertainty, assumptions, and how far the scans can be believed.

use crate::bracket_curves::{bracket_curves, without_tablet_sheet};
use crate::table::Table;
use crate::words::{
    capital, counted, drawn, figure, film_name, filter_names, flag_names, flag_notes, flag_words,
    light_name, name, scan_name, sentence, wide,
};
use crate::{ReportInput, ScanSummary, pictures};
use figures::{PatchLetters, shown};
use findings::{Assumed, Cause, FactorFinding, Findings};
use maud::{Markup, html};
use quantity::{Flag, Flags};

pub(crate) fn evidence(input: &ReportInput<'_>, letters: &PatchLetters) -> Markup {
    let found = input.findings;
    html! {
        section #evidence .evidence {
            h2 { "Evidence" }
            (pictures::negatives(input, letters))
            div.columns {
                (curves(input, letters))
                @if !found.frames.is_empty() {
                    div {
                        h3 { "Densities" }
                        (density_figures(found, letters))
                    }
                }
            }
            (bracket_curves(input))
            (crate::maps::maps(input))
            (why(input, letters))
            (criteria(input))
            (assumptions(&found.assumptions))
            (scans(&input.scans))
        }
    }
}

/// Why the answers are what they are: figures of EI and factor, and causes.
fn why(input: &ReportInput<'_>, letters: &PatchLetters) -> Markup {
    let found = input.findings;
    html! {
        @if !(found.factors.is_empty() && found.speeds.is_empty()) {
            h3 { "EI and filter factor" }
            div.columns {
                (figure(|sheet| figures::ei_intervals(found, sheet)))
                (figure(|sheet| figures::factor_intervals(found, sheet)))
                @for factor in &found.factors {
                    (figure(|sheet| figures::bracket(found, factor, sheet)))
                }
            }
            div.texts { @for factor in &found.factors { (causes(input, factor, letters)) } }
        }
        @if !found.wood_effect.is_empty() {
            h3 { "Wood effect" }
            (figure(|sheet| figures::wood_effect(found, sheet)))
            (wood_notes(input))
        }
        (crate::red_end::red_ends(input))
        (explanations(input))
    }
}

/// The same with densities and assumptions, for a page of its own.
pub(crate) fn reasons(input: &ReportInput<'_>, letters: &PatchLetters) -> Markup {
    let found = input.findings;
    html! {
        (why(input, letters))
        @if !found.frames.is_empty() {
            h3 { "Densities" }
            div.columns { (density_figures(found, letters)) }
        }
        (assumptions(&found.assumptions))
    }
}

fn curves(input: &ReportInput<'_>, letters: &PatchLetters) -> Markup {
    let found = input.findings;
    let families = figures::curve_families(found);
    if found.curves.is_empty() {
        return html! {};
    }
    html! { div {
        h3 { "Characteristic curve" }
        @for family in families.iter().filter(|f| f.len() > 1) {
            (figure(|sheet| figures::curve_family(family, sheet)))
        }
        @for curve in &found.curves {
            @let page = figures::characteristic_curve(found, curve, letters, figures::Sheet::PAGE);
            @let phone = figures::characteristic_curve(found, curve, letters, figures::Sheet::PHONE);
            @if page.is_none() {
                p { "The curve of " (curve.film) " in " (curve.process) " has too few readings to be drawn." }
            }
            (drawn(page, phone))
            @if !curve.absolute_exposure && !curve.flags.contains(Flag::RelativeExposure) {
                p.note {
                    b { "Relative exposure scale: " }
                    "log H of " (curve.film) " in " (curve.process)
                    " has no known zero, so distances along it hold and places on it do not."
                }
            }
            (without_tablet_sheet(found, curve))
            (flag_notes(&curve.flags))
        }
    } }
}

fn density_figures(found: &Findings, letters: &PatchLetters) -> Markup {
    let page = figures::density_bars(found, letters, figures::Sheet::PAGE);
    let phone = figures::density_bars(found, letters, figures::Sheet::PHONE);
    html! {
        @for (page, phone) in page.into_iter().zip(phone) { (drawn(Some(page), Some(phone))) }
        p.about {
            "Verdicts go by net density: below " (shown::density(found.criteria.blank_below))
            " a patch cannot be told from base+fog; shadows are right from "
            (shown::density(found.criteria.shadow_at_least)) " to "
            (shown::density(found.criteria.shadow_at_most)) ", highlights up to "
            (shown::density(found.criteria.highlight_at_most)) ", a grey card from "
            (shown::density(found.criteria.card_at_least)) " to "
            (shown::density(found.criteria.card_at_most)) "."
        }
    }
}

fn causes(input: &ReportInput<'_>, factor: &FactorFinding, letters: &PatchLetters) -> Markup {
    let shares: Vec<_> = factor
        .shares
        .iter()
        .map(|s| format!("{} {}\u{a0}%", s.source, shown::fixed(100.0 * s.share, 0)))
        .collect();
    let matched: Vec<_> = factor
        .matched_on
        .iter()
        .map(|p| letters.letter(p))
        .collect();
    html! { div {
        h4 {
            "How sure: " (name(film_name(input.test, &factor.film))) " behind "
            (name(filter_names(input.test, &factor.filters))) " · " (light_name(input.test, &factor.light))
        }
        p {
            "Set against "
            @if factor.against.is_empty() { "unfiltered frames" } @else { (name(filter_names(input.test, &factor.against))) }
            ": " (counted(factor.frames_used, "filtered frame")) " with readings and "
            (factor.frames_as_limits) " as limits only. "
            @if let Some(at) = factor.matched_at {
                "The curves were matched at net density " (shown::density(at.to_density()))
                @if !matched.is_empty() { " on " (matched.join(", ")) } ". "
            }
            @if let Some(spread) = factor.patch_spread {
                "From patch to patch the factor scatters by " (shown::stops(spread)) " stops. "
            }
            (sentence(&factor.interval_method))
        }
        @if !shares.is_empty() {
            p { "What made the uncertainty, largest first: " (shares.join(", ")) " of the variance." }
        }
        @if !factor.next_steps.is_empty() {
            p { "What would narrow the interval most:" }
            ul {
                @for step in &factor.next_steps { li {
                    (capital(&step.what)) ": from ±" (shown::fixed(step.half_width_now_stops, 2))
                    " to ±" (shown::fixed(step.half_width_then_stops, 2)) " stop."
                } }
            }
        }
    } }
}

/// What explains differences within the test, cause by cause.
fn explanations(input: &ReportInput<'_>) -> Markup {
    let table = Table::<&Cause>::new()
        .long_name("What is compared", |c| capital(&c.question))
        .phrase("Cause", |c| &c.cause)
        .number("Stops", |c| {
            shown::interval(c.stops, None, shown::signed_stops)
        })
        .phrase("Assumed", |c| &c.assumed)
        .of(&input.findings.causes);
    html! {
        @if !input.findings.causes.is_empty() {
            h3 { "What explains differences within the test" }
            (wide("Causes and the stops each explains", table))
        }
    }
}

fn wood_notes(input: &ReportInput<'_>) -> Markup {
    html! {
        @for wood in &input.findings.wood_effect {
            @if !wood.flags.is_empty() {
                p.about {
                    (wood.foliage) " against " (wood.card) ", " (name(filter_names(input.test, &wood.filters)))
                    ", " (wood.light) ":"
                }
                @for flag in wood.flags.iter() { (wood_note(flag)) }
            }
        }
    }
}

/// The controls that foliage needs are of flare, so this is said here.
fn wood_note(flag: Flag) -> Markup {
    match flag {
        Flag::NoControl => html! {
            p.note {
                b { "No flare control: " }
                "no flare control was exposed, so light scattered in the camera may be part of this."
            }
        },
        other => flag_notes(&Flags::from_iter([other])),
    }
}

/// Every named criterion side by side, one column for each curve.
pub(crate) fn criteria(input: &ReportInput<'_>) -> Markup {
    let curves = &input.findings.curves;
    let mut rows: Vec<(&str, &str)> = Vec::new();
    for row in curves.iter().flat_map(|c| &c.criteria) {
        if !rows.iter().any(|(key, _)| *key == row.key) {
            rows.push((row.key, row.name));
        }
    }
    if rows.is_empty() {
        return html! {};
    }
    let table = html! {
        table {
            caption { "Value ± 1 standard deviation, or why there is none" }
            thead { tr {
                th scope="col" { "Criterion" }
                @for curve in curves { th.n scope="col" { (curve.film) " in " (curve.process) } }
                th scope="col" { "Remarks" }
            } }
            tbody {
                @for (key, name) in &rows {
                    @let answers: Vec<_> = curves.iter().map(|c| c.criteria.iter().find(|r| r.key == *key)).collect();
                    tr {
                        th scope="row" { (capital(name)) }
                        @for answer in &answers {
                            td.n {
                                @match answer.map(|r| &r.answer) {
                                    Some(Ok((value, sd))) => (shown::value_with_uncertainty(*value, *sd)),
                                    Some(Err(_)) => "none",
                                    None => "–",
                                }
                            }
                        }
                        td.long {
                            @for row in answers.iter().flatten() {
                                @if let Err(why) = &row.answer { (sentence(why)) " " }
                                @if !row.flags.is_empty() { (capital(&flag_names(&row.flags))) ". " }
                            }
                        }
                    }
                }
            }
        }
    };
    html! {
        h3 { "Speed and contrast under every named criterion" }
        p { "The criteria answer different questions, so their numbers differ; none of them is the others’ error." }
        div.prose { (wide("Speed and contrast under every named criterion", table)) }
    }
}

fn assumptions(assumed: &[Assumed]) -> Markup {
    let table = Table::<&Assumed>::new()
        .name("What", |a| capital(&a.name))
        .number("Value", |a| plain(a.value))
        .words("Unit", |a| &a.unit)
        .sentences("Where it comes from", |a| sentence(&a.source))
        .of(assumed);
    html! {
        h3 { "Assumed, not recorded" }
        @if assumed.is_empty() {
            p { "Nothing was assumed." }
        } @else {
            p { "Write these down at the next test and they no longer have to be assumed." }
            div.prose { (wide("Assumed, not recorded", table)) }
        }
    }
}

/// Writes a number as it is, with the real minus.
fn plain(value: f64) -> String {
    let text = format!("{value}");
    // Not everything assumed is round; four decimals are more than any source has.
    let text = if text.len() > 8 {
        shown::fixed(value, 4)
    } else {
        text
    };
    text.replace('-', "−")
}

pub(crate) fn scans(scans: &[ScanSummary]) -> Markup {
    let table = Table::<&ScanSummary>::new()
        .name("Scan", |s| name(&s.scan))
        .number("Pixels", |s| format!("{} × {}", s.width, s.height))
        .number("Bits", |s| s.bits)
        .phrase("Code value and light", |s| &s.tone)
        .words("Channel", |s| &s.channel)
        .phrase("Calibrated by", |s| &s.calibrator)
        .number("Residual sd", |s| {
            s.residual_sd
                .map_or("–".to_owned(), |sd| shown::fixed(sd, 3))
        })
        .number("Valid density", |s| match s.valid_density {
            Some((low, high)) => format!("{} to {}", shown::density(low), shown::density(high)),
            None => "none".to_owned(),
        })
        .of(scans);
    let silent: Vec<&str> = scans
        .iter()
        .filter(|s| s.flags.is_empty() && s.repeat.is_none())
        .map(|s| s.scan.as_str())
        .collect();
    html! {
        @if !scans.is_empty() {
            h3 { "Scans: calibration and honesty checks" }
            (wide("Calibration of the scans", table))
            @for scan in scans {
                @for flag in &scan.flags {
                    p.note {
                        b { (capital(&scan_name(&scan.scan))) ", " (flag_words(flag.flag)) ": " }
                        (flag.flag.meaning()) ". "
                        @if !flag.evidence.is_empty() { (sentence(&flag.evidence)) }
                    }
                }
                @if let Some(repeat) = &scan.repeat {
                    p { (capital(&scan_name(&scan.scan))) " " (repeat) "." }
                }
            }
            @if !silent.is_empty() {
                p.about { "No check found anything in " (silent.join(", ")) "." }
            }
            (crate::scan_checks::checks(scans))
        }
    }
}
