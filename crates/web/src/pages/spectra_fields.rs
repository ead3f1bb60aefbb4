//! Fields about film and filter that the page of spectra and the plan share.

use app::SpectraChoices;
use maud::{Markup, html};

/// The classes of film, one of them chosen.
pub(crate) fn film_class_field(choices: &SpectraChoices, chosen: &str) -> Markup {
    html! {
        label.slider {
            span { "Class of film" }
            select name="film_class" {
                @for class in &choices.film_classes {
                    option value=(class) selected[*class == chosen] { (class.replace('-', " ")) }
                }
            }
        }
    }
}

/// Curves of the photographer's own, as they were typed.
#[derive(Clone, Copy, Debug)]
pub(crate) struct OwnCurves<'a> {
    /// Rows of wavelength and sensitivity.
    pub(crate) film: &'a str,
    /// Whether the film's values are log10.
    pub(crate) film_log: bool,
    /// Rows of wavelength and transmittance.
    pub(crate) filter: &'a str,
}

/// Where curves of one's own are pasted; folded while there are none. `about` says more.
pub(crate) fn own_curve_fields(curves: OwnCurves<'_>, about: Markup) -> Markup {
    html! {
        details open[!curves.film.is_empty() || !curves.filter.is_empty()] {
            summary { "Your own curves" }
            (about)
            label.slider {
                span { "Film: wavelength in nm and relative sensitivity, a row each" }
                textarea name="film_curve" rows="5" spellcheck="false" { (curves.film) }
            }
            label { input type="checkbox" name="film_log" checked[curves.film_log]; "Its values are log10" }
            label.slider {
                span { "Filter: wavelength in nm and transmittance, 0 to 1" }
                textarea name="filter_curve" rows="5" spellcheck="false" { (curves.filter) }
            }
        }
    }
}
