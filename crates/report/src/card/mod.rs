//! The field card: what to set for each planned frame, and room for what was done.
//!
//! On paper: [`sheet_html`] for A4 and Letter, [`cards_html`] for cards of 3 by 5
//! inches. On a phone: [`phone_html`], one file that works without a network and
//! exports what was logged. All three say the same of a frame, by [`CardFrame`].
//!
//! Numbers come in; the only computing is that of the phone's page, which repeats
//! the chain with the law it is handed when a reading or an aperture is changed.

mod paper;
mod phone;

pub use paper::{cards_html, sheet_html};
pub use phone::phone_html;

use exposure::{ReciprocityLaw, ShutterMark, format_aperture, format_time};
use quantity::{Ev100, Seconds, Stops};
use record::{Lens, PlannedCamera, PlannedExposure, PlannedFrame, PlannedTest};

/// What a card is made of.
#[derive(Clone, Debug)]
pub struct CardInput<'a> {
    /// Records and plan.
    pub test: &'a PlannedTest,
    /// The plan's checksum, 64 hex digits.
    pub plan_sha256: String,
    /// What was worked out for each planned frame, in their order.
    pub frames: Vec<CardFrame>,
    /// Name and version of the program.
    pub version: String,
}

/// What was worked out for a planned frame.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct CardFrame {
    /// The planned light's reading as EV at ISO 100, as the meter showed it.
    pub ev100: Option<Ev100>,
    /// Where the metered target was placed, from the mid-tone.
    pub placement: Stops,
    /// Whether the meter read through the filter.
    pub through_filter: bool,
    /// Factor of the bellows extension; 1 at infinity. \[ratio\]
    pub bellows_factor: f64,
    /// The time before reciprocity.
    pub metered: Option<Seconds>,
    /// The time after the law.
    pub corrected: Option<Seconds>,
    /// The law, as text and as it answers.
    pub law: Option<(String, ReciprocityLaw)>,
    /// Why a law that is recorded can't be used.
    pub law_refused: Option<String>,
    /// What the photographer must know of this frame.
    pub notes: Vec<String>,
}

/// Cautions of the field, in our words; they defer to rules and data sheets.
const CAUTIONS: [&str; 4] = [
    "Sun: never look at it through an infrared filter or point the open lens at it; a dark view proves nothing, the infrared that passes burns the retina without pain. Frame and focus without the sun in the picture.",
    "Place: mind roads, rails, water, cliffs and private ground while you look at a ground glass or a screen. Cold, heat and wind come before the test: break it off.",
    "Film: keep screens and lamps away from open holders; check the dark slide before and after each frame.",
    "Later, chemicals: read the safety data sheets. Local rules and licensed practice come before anything written here.",
];

fn camera(frame: &PlannedFrame) -> Option<&PlannedCamera> {
    match &frame.exposure {
        PlannedExposure::Camera(camera) => Some(camera),
        _ => None,
    }
}

fn lens<'a>(test: &'a PlannedTest, camera: &PlannedCamera) -> Option<&'a Lens> {
    camera.lens.as_ref().and_then(|id| test.records().lens(id))
}

/// Names a frame's film as a person calls it.
fn film_words(test: &PlannedTest, frame: &PlannedFrame) -> String {
    test.records()
        .film(&frame.film)
        .map_or_else(|| frame.film.to_string(), |film| film.name.clone())
}

/// Names its filters as a person calls them.
fn filter_words(test: &PlannedTest, frame: &PlannedFrame) -> String {
    if frame.filters.is_empty() {
        return "no filter".to_owned();
    }
    let names: Vec<_> = frame
        .filters
        .iter()
        .map(|id| {
            test.records()
                .filter(id)
                .map_or_else(|| id.to_string(), |filter| filter.name.clone())
        })
        .collect();
    names.join(" + ")
}

/// Holder side, and the loading where it isn't the first.
fn holder_words(frame: &PlannedFrame) -> String {
    let holder = frame.holder.as_deref().unwrap_or("no holder");
    match frame.load {
        Some(load) if load > 1 => format!("{holder} (loading {load})"),
        _ => holder.to_owned(),
    }
}

/// `f/22  1/30 s`, or what else is to be done.
fn set_words(frame: &PlannedFrame) -> String {
    match &frame.exposure {
        PlannedExposure::Camera(camera) => format!(
            "{}  {}",
            format_aperture(camera.aperture),
            ShutterMark::literal(camera.time.marked).label()
        ),
        PlannedExposure::Tablet(tablet) => format!("through tablet {tablet}"),
        PlannedExposure::None => "do not expose".to_owned(),
    }
}

/// Where the time comes from: metered, corrected, by which law.
fn times_words(card: &CardFrame) -> String {
    let mut words = Vec::new();
    if let Some(metered) = card.metered {
        words.push(format!("metered {}", format_time(metered)));
    }
    match (card.corrected, &card.law) {
        (Some(corrected), _)
            if card
                .metered
                .is_some_and(|metered| (corrected.to_s() / metered.to_s() - 1.0).abs() < 1e-3) =>
        {
            words.push("too short for reciprocity failure".to_owned());
        }
        (Some(corrected), Some((law, _))) => {
            words.push(format!("corrected {} by {law}", format_time(corrected)));
        }
        (Some(corrected), None) => words.push(format!("corrected {}", format_time(corrected))),
        (None, _) => {}
    }
    words.join(", ")
}

/// What the set time was measured to be on this lens, if it was.
fn shutter_words(test: &PlannedTest, camera: &PlannedCamera) -> String {
    let Some(lens) = lens(test, camera) else {
        return String::new();
    };
    let measured = lens
        .shutter
        .measured
        .iter()
        .find(|time| (time.marked.to_s() / camera.time.marked.to_s() - 1.0).abs() < 0.01);
    match measured {
        Some(time) => format!(
            "{}: {} measured as {}",
            lens.name,
            format_time(time.marked),
            format_time(time.actual)
        ),
        None => lens.name.clone(),
    }
}

fn ei_words(camera: &PlannedCamera) -> String {
    // To two digits after the first, and not to a mark: a mark near it would be another EI.
    let ei = camera.ei.to_arithmetic();
    let digits = (2.0 - ei.log10().floor()).clamp(0.0, 6.0);
    let text = format!("{ei:.0$}", digits as usize);
    let short = if text.contains('.') {
        text.trim_end_matches('0').trim_end_matches('.')
    } else {
        &text
    };
    format!("EI {short}")
}
