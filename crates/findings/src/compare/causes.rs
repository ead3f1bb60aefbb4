//! What could explain a difference between two tests, and by how many stops.
//!
//! Each cause is worked out from the records of both sides. A size comes from
//! the records where they tell, else from an assumption named in
//! [`assumptions`]. Signs: positive makes the second test ask for more.

use crate::assumptions::Assumptions;
use crate::compare::comparison::{CauseState, ComparedQuantity, PossibleCause};
use crate::compare::edge::{
    EDGE_PEAK, EDGE_WIDTH_NM, SAME_EDGE_NM, edge_half_peak_nm, edge_of, level_words,
};
use crate::compare::side::{Number, Side, plain};
use crate::finding::Assumed;
use quantity::Stops;
use record::{Edge, Film, Filter, MeterMode, Process, Sky};

/// What a shift of the edge costs on a steep-tailed film. \[stops per nm\]
const STEEP_TAIL_STOPS_PER_NM: (f64, f64) = (0.04, 0.12);
/// What open shade adds to the factor of a deep-red filter. \[stops\]
const OPEN_SHADE_STOPS: (f64, f64) = (0.5, 0.9);
/// What cloud may do to it, either way. \[stops\]
const CLOUD_STOPS: f64 = 2.0;
/// How much less a lamp makes it: 1 stop for a No. 25, more for deeper filters. \[stops\]
const LAMP_STOPS: (f64, f64) = (1.0, 2.5);
/// How far a spot reading of green leaves lies from an incident one. \[stops\]
const GRASS_STOPS: (f64, f64) = (1.5, 2.0);
/// How far two ways of metering may differ otherwise. \[stops\]
const METERING_STOPS: f64 = 1.0;
/// How far they may differ when one is not recorded. \[stops\]
const METER_UNKNOWN_STOPS: f64 = 2.0;
/// Difference of speed between batches. \[stops\]
const BATCH_STOPS: f64 = 0.5;
/// Difference of speed between developments. \[stops\]
const PROCESS_STOPS: f64 = 0.5;
/// What development does to a density-matched factor. \[stops\]
const PROCESS_FACTOR_STOPS: f64 = 0.1;
/// Deviation of a marked shutter speed, of one test. \[stops\]
const SHUTTER_STOPS: f64 = 0.3;
/// Exponents of the printed laws of reciprocity failure, none to most.
const POWER_MOST: f64 = 1.43;

fn stops(value: f64) -> Stops {
    match Stops::new(value) {
        Ok(stops) => stops,
        Err(_) => unreachable!("a size worked out from finite records is finite"),
    }
}

fn size(low: f64, high: f64) -> Option<(Stops, Stops)> {
    Some((stops(low), stops(high)))
}

fn either_way(most: f64) -> Option<(Stops, Stops)> {
    size(-most, most)
}

/// What the sizes rest on, for the list of assumptions.
pub(crate) fn assumptions() -> Vec<Assumed> {
    let row = |name: &str, value, unit, source: &str| Assumed {
        name: name.to_owned(),
        value,
        unit,
        source: source.to_owned(),
    };
    let model = "independent model of the trade";
    let common = "common practice";
    vec![
        row(
            "least a steep-tailed film loses for a filter edge 10 nm longer",
            10.0 * STEEP_TAIL_STOPS_PER_NM.0,
            "stops",
            model,
        ),
        row(
            "most a steep-tailed film loses for a filter edge 10 nm longer",
            10.0 * STEEP_TAIL_STOPS_PER_NM.1,
            "stops",
            model,
        ),
        row(
            "width of a filter's edge (logistic)",
            EDGE_WIDTH_NM,
            "nm",
            model,
        ),
        row(
            "peak transmittance of a long-pass filter",
            EDGE_PEAK,
            "",
            model,
        ),
        row(
            "least that open shade adds to the factor",
            OPEN_SHADE_STOPS.0,
            "stops",
            model,
        ),
        row(
            "most that open shade adds to the factor",
            OPEN_SHADE_STOPS.1,
            "stops",
            model,
        ),
        row(
            "what cloud may do to the factor",
            CLOUD_STOPS,
            "stops",
            common,
        ),
        row(
            "spot reading of green leaves against incident reading, most",
            GRASS_STOPS.1,
            "stops",
            common,
        ),
        row(
            "two other ways of metering",
            METERING_STOPS,
            "stops",
            common,
        ),
        row("speed between two batches", BATCH_STOPS, "stops", common),
        row(
            "speed between two developments",
            PROCESS_STOPS,
            "stops",
            common,
        ),
        row(
            "deviation of a marked shutter speed",
            SHUTTER_STOPS,
            "stops",
            common,
        ),
        row(
            "correlation between the errors of two tests",
            0.0,
            "",
            "taken as independent; a shutter, meter or tablet that both used makes the intervals wider than they need be",
        ),
    ]
}

/// All causes, those that records show first.
pub(crate) fn causes(
    a: &Side<'_>,
    b: &Side<'_>,
    quantity: ComparedQuantity,
    assumed: &Assumptions,
) -> Vec<PossibleCause> {
    let speed = quantity == ComparedQuantity::FilmSpeed;
    let mut rows = vec![];
    if !speed {
        rows.push(filter(a, b));
    }
    rows.push(film(a, b));
    rows.push(light(a, b, speed));
    if quantity != ComparedQuantity::FilterFactor {
        rows.push(meter(a, b));
    }
    rows.push(reciprocity(a, b, assumed));
    rows.push(leaf_shutter(a, b));
    rows.push(batch(a, b));
    rows.push(process(a, b, quantity));
    rows.push(shutter(a, b));
    rows.push(criterion(a, b, quantity));
    rows.sort_by_key(|c| match c.state {
        CauseState::Present => 0,
        CauseState::Possible => 1,
        CauseState::Excluded => 2,
    });
    rows
}

/// The edge that a row of filters acts by: the longest.
fn acting_edge(filters: &[&Filter]) -> Option<(Edge, (f64, f64))> {
    filters
        .iter()
        .filter_map(|f| edge_of(f))
        .map(|e| (e, edge_half_peak_nm(&e)))
        .max_by(|x, y| x.1.1.total_cmp(&y.1.1))
}

fn edge_words(edge: &Edge) -> String {
    format!(
        "{:.0} nm ({})",
        edge.wavelength.to_nm(),
        level_words(edge.level)
    )
}

/// How far two filters' edges lie apart, least and most, second less first. \[nm\]
pub(crate) fn edges_apart(a: &[&Filter], b: &[&Filter]) -> Option<(f64, f64)> {
    let ((_, (al, ah)), (_, (bl, bh))) = (acting_edge(a)?, acting_edge(b)?);
    Some((bl - ah, bh - al))
}

/// What edges this far apart cost on a steep-tailed film.
fn edge_stops(low_nm: f64, high_nm: f64) -> (f64, f64) {
    let (least, most) = STEEP_TAIL_STOPS_PER_NM;
    let low = low_nm * if low_nm < 0.0 { most } else { least };
    let high = high_nm * if high_nm > 0.0 { most } else { least };
    (low, high)
}

/// Whether two rows of filters go by the same names.
fn same_names(a: &[&Filter], b: &[&Filter]) -> bool {
    let alike = |x: &Filter, y: &Filter| {
        plain(&x.name) == plain(&y.name)
            || matches!((&x.marking, &y.marking), (Some(m), Some(n)) if plain(m) == plain(n))
    };
    a.len() == b.len() && a.iter().zip(b).all(|(x, y)| alike(x, y))
}

fn names(filters: &[&Filter]) -> String {
    let names: Vec<_> = filters.iter().map(|f| f.name.as_str()).collect();
    names.join(" + ")
}

fn filter(a: &Side<'_>, b: &Side<'_>) -> PossibleCause {
    let cause = "the filter's edge";
    let (fa, fb) = (a.filters(), b.filters());
    let same = same_names(&fa, &fb);
    let Some(((ea, ca), (eb, cb))) = acting_edge(&fa).zip(acting_edge(&fb)) else {
        return if same {
            PossibleCause {
                cause,
                stops: size(0.0, 0.0),
                state: CauseState::Excluded,
                why: format!(
                    "both name the filter {}; edges are not recorded, so two samples of it are taken as alike",
                    names(&fa)
                ),
            }
        } else {
            PossibleCause {
                cause,
                stops: None,
                state: CauseState::Possible,
                why: format!(
                    "{} against {}, and not both edges are recorded",
                    names(&fa),
                    names(&fb)
                ),
            }
        };
    };
    let (low_nm, high_nm) = (cb.0 - ca.1, cb.1 - ca.0);
    let stated = ca.0 == ca.1 && cb.0 == cb.1;
    let levels = if ea.level == eb.level {
        String::new()
    } else {
        format!(", brought to half of the peak by a logistic edge of {EDGE_WIDTH_NM} nm")
    };
    let edges = format!("{} against {}{levels}", edge_words(&ea), edge_words(&eb));
    let near = low_nm.abs().max(high_nm.abs()) < SAME_EDGE_NM;
    if near || (same && !stated) {
        return PossibleCause {
            cause,
            stops: size(0.0, 0.0),
            state: CauseState::Excluded,
            why: format!("the same edge in both: {edges}"),
        };
    }
    let (low, high) = edge_stops(low_nm, high_nm);
    let apart = if stated {
        format!("{:.0} nm", low_nm.abs())
    } else {
        format!("{low_nm:.0} to {high_nm:.0} nm")
    };
    let steep = format!(
        "{:.1} to {:.1} stop for 10 nm on a steep-tailed film, as the independent model of the trade says",
        10.0 * STEEP_TAIL_STOPS_PER_NM.0,
        10.0 * STEEP_TAIL_STOPS_PER_NM.1
    );
    PossibleCause {
        cause,
        stops: size(low, high),
        state: if low_nm > 0.0 || high_nm < 0.0 {
            CauseState::Present
        } else {
            CauseState::Possible
        },
        why: format!("{edges}: {apart} apart; {steep}"),
    }
}

fn film(a: &Side<'_>, b: &Side<'_>) -> PossibleCause {
    let cause = "the film";
    let (na, nb) = (a.film_name(), b.film_name());
    if plain(na) == plain(nb) {
        PossibleCause {
            cause,
            stops: size(0.0, 0.0),
            state: CauseState::Excluded,
            why: format!("{na} in both"),
        }
    } else {
        PossibleCause {
            cause,
            stops: None,
            state: CauseState::Present,
            why: format!(
                "{na} against {nb}: how far films differ behind a filter is not known beforehand"
            ),
        }
    }
}

/// What the light of B does to a factor against that of A.
fn sky_stops(from: Sky, to: Sky) -> Option<(f64, f64, &'static str)> {
    let shade = |s| matches!(s, Sky::OpenShade | Sky::UnderLeaves);
    let cloud = |s| matches!(s, Sky::ThinCloud | Sky::BrokenCloud | Sky::Overcast);
    let (shade_low, shade_high) = OPEN_SHADE_STOPS;
    let (lamp_low, lamp_high) = LAMP_STOPS;
    match (from, to) {
        (x, y) if x == y => None,
        (Sky::Lamp, _) => Some((
            lamp_low,
            lamp_high,
            "a lamp holds more deep red and near infrared than daylight",
        )),
        (_, Sky::Lamp) => Some((
            -lamp_high,
            -lamp_low,
            "a lamp holds more deep red and near infrared than daylight",
        )),
        (Sky::ClearSun, y) if shade(y) => Some((
            shade_low,
            shade_high,
            "skylight holds less deep red than sunlight",
        )),
        (x, Sky::ClearSun) if shade(x) => Some((
            -shade_high,
            -shade_low,
            "skylight holds less deep red than sunlight",
        )),
        (x, y) if cloud(x) || cloud(y) => Some((
            -CLOUD_STOPS,
            CLOUD_STOPS,
            "what cloud does to the deep red is not known",
        )),
        _ => Some((
            -OPEN_SHADE_STOPS.1,
            OPEN_SHADE_STOPS.1,
            "both are shade, of different kinds",
        )),
    }
}

fn light(a: &Side<'_>, b: &Side<'_>, unfiltered: bool) -> PossibleCause {
    let cause = "the light (state of the sky)";
    let (sa, sb) = (a.skies(), b.skies());
    let words = |s: &[Sky]| {
        let mut words: Vec<_> = s.iter().map(|s| s.words()).collect();
        words.dedup();
        words.join(" and ")
    };
    if sa.is_empty()
        || sb.is_empty()
        || sa.contains(&Sky::NotStated)
        || sb.contains(&Sky::NotStated)
    {
        return PossibleCause {
            cause,
            stops: either_way(CLOUD_STOPS),
            state: CauseState::Possible,
            why: "the sky is not recorded in both".to_owned(),
        };
    }
    let mut range: Option<(f64, f64, &str)> = None;
    let alike = sa.iter().all(|s| sb.contains(s)) && sb.iter().all(|s| sa.contains(s));
    for &x in sa.iter().filter(|_| !alike) {
        for &y in &sb {
            let (low, high, why) = sky_stops(x, y).unwrap_or((0.0, 0.0, ""));
            range = Some(match range {
                None => (low, high, why),
                Some((l, h, w)) => (l.min(low), h.max(high), if w.is_empty() { why } else { w }),
            });
        }
    }
    match range {
        Some((low, high, why)) if !why.is_empty() => {
            // Without a filter only the colour of a pan film counts: a third of it.
            let share = if unfiltered { 1.0 / 3.0 } else { 1.0 };
            PossibleCause {
                cause,
                stops: size(share * low, share * high),
                state: CauseState::Present,
                why: format!("{} against {}: {why}", words(&sa), words(&sb)),
            }
        }
        _ => PossibleCause {
            cause,
            stops: size(0.0, 0.0),
            state: CauseState::Excluded,
            why: format!(
                "{} in both; the height of the sun is not compared",
                words(&sa)
            ),
        },
    }
}

/// Whether a target is green leaves.
fn is_leaves(target: Option<&str>) -> bool {
    target.is_some_and(|t| {
        let t = t.to_lowercase();
        ["grass", "leaf", "leaves", "foliage", "meadow", "lawn"]
            .iter()
            .any(|w| t.contains(w))
    })
}

/// A meter, how it was used, in words.
fn meter_words(m: &record::Meter) -> String {
    let mode = match m.mode {
        MeterMode::Incident => "incident",
        MeterMode::Spot => "spot",
        MeterMode::Averaging => "averaging",
    };
    let target = match (&m.target, m.mode) {
        (Some(t), MeterMode::Incident) => format!(" at {t}"),
        (Some(t), _) => format!(" on {t}"),
        (None, _) => String::new(),
    };
    let placed = if m.placement == Stops::ZERO {
        String::new()
    } else {
        format!(" placed {:+.1} stops", m.placement.to_stops())
    };
    let through = if m.through_filter {
        ", through the filter"
    } else {
        ""
    };
    format!("{mode}{target}{placed}{through}")
}

/// How far two ways of metering lie apart, and why; `None` when they are alike.
fn metering_stops(a: &record::Meter, b: &record::Meter) -> Option<(f64, f64, &'static str)> {
    let leaves =
        |m: &record::Meter| m.mode != MeterMode::Incident && is_leaves(m.target.as_deref());
    let placed = b.placement.to_stops() - a.placement.to_stops();
    let target = |m: &record::Meter| m.target.as_deref().map(plain);
    if a.through_filter != b.through_filter {
        return Some((
            -METER_UNKNOWN_STOPS,
            METER_UNKNOWN_STOPS,
            "a reading through the filter follows the meter's cell, not the film",
        ));
    }
    let (least, most) = GRASS_STOPS;
    match (leaves(a), leaves(b)) {
        (false, true) => Some((
            -most,
            -least,
            "leaves read darker than the mid-tone and are placed above it, so the same exposure is called by a higher EI",
        )),
        (true, false) => Some((
            least,
            most,
            "leaves read darker than the mid-tone and are placed above it, so the same exposure is called by a higher EI",
        )),
        _ if placed.abs() > 0.05 => Some((
            -placed.abs(),
            placed.abs(),
            "the target was placed differently",
        )),
        _ if a.mode != b.mode && !(is_card(a) && is_card(b)) => Some((
            -METERING_STOPS,
            METERING_STOPS,
            "they look at different things",
        )),
        _ if a.mode != MeterMode::Incident && target(a) != target(b) => Some((
            -METERING_STOPS,
            METERING_STOPS,
            "they look at different things",
        )),
        _ => None,
    }
}

/// Whether a reading is of the light or of a card, which should agree.
fn is_card(m: &record::Meter) -> bool {
    m.mode == MeterMode::Incident
        || m.target
            .as_deref()
            .is_some_and(|t| t.to_lowercase().contains("card"))
}

fn meter(a: &Side<'_>, b: &Side<'_>) -> PossibleCause {
    let cause = "meter, target and placement";
    let (ma, mb) = (a.meters(), b.meters());
    let (Some(Some(ma)), Some(Some(mb))) = (ma.first(), mb.first()) else {
        return PossibleCause {
            cause,
            stops: either_way(METER_UNKNOWN_STOPS),
            state: CauseState::Possible,
            why: "how the light was metered is not recorded in both".to_owned(),
        };
    };
    let words = format!("{} against {}", meter_words(ma), meter_words(mb));
    match metering_stops(ma, mb) {
        None => PossibleCause {
            cause,
            stops: size(0.0, 0.0),
            state: CauseState::Excluded,
            why: format!("metered alike: {words}"),
        },
        Some((low, high, why)) => PossibleCause {
            cause,
            stops: size(low, high),
            state: CauseState::Present,
            why: format!("{words}: {why}"),
        },
    }
}

/// What reciprocity failure may have done to a number beyond what the estimate
/// allowed for: least and most, with the longest time; `None` when no time
/// without a law is beyond one second.
fn unlawful(side: &Side<'_>, assumed: &Assumptions) -> Option<(f64, f64, f64)> {
    if side.film().is_some_and(|f: &Film| f.reciprocity.is_some()) {
        return None;
    }
    let longest = side
        .exposures()
        .iter()
        .map(|(_, c)| c.time.actual.unwrap_or(c.time.marked).to_s())
        .fold(0.0_f64, f64::max);
    if longest <= 1.0 {
        return None;
    }
    // Tc = Tm^P: of the actual time T the film felt T^(1/P), so it lost
    // lg2(T)·(1 − 1/P); the estimate took its own share per decade already.
    let lost = libm::log2(longest) * (1.0 - 1.0 / POWER_MOST);
    let allowed = libm::log10(longest) * assumed.unstated_reciprocity_stops_per_decade;
    Some((-allowed, lost - allowed, longest))
}

fn reciprocity(a: &Side<'_>, b: &Side<'_>, assumed: &Assumptions) -> PossibleCause {
    let cause = "reciprocity failure";
    let (la, lb) = (unlawful(a, assumed), unlawful(b, assumed));
    let told = |side: &Side<'_>, longest: f64| {
        format!(
            "{} has times up to {:.0} s and no law for its film; the estimate allowed {:.1} stops per tenfold time, and printed laws give 0 to {:.1} stops there",
            side.of.name,
            longest,
            assumed.unstated_reciprocity_stops_per_decade,
            libm::log2(longest) * (1.0 - 1.0 / POWER_MOST)
        )
    };
    let (low, high, why) = match (la, lb) {
        (None, None) => {
            return PossibleCause {
                cause,
                stops: size(0.0, 0.0),
                state: CauseState::Excluded,
                why: "no time beyond 1 s without a law in either".to_owned(),
            };
        }
        (None, Some((low, high, t))) => (low, high, told(b, t)),
        (Some((low, high, t)), None) => (-high, -low, told(a, t)),
        (Some((al, ah, ta)), Some((bl, bh, tb))) => (
            bl - ah,
            bh - al,
            format!("{}; {}", told(a, ta), told(b, tb)),
        ),
    };
    PossibleCause {
        cause,
        stops: size(low, high),
        state: CauseState::Present,
        why,
    }
}

/// What a between-lens shutter gains at small apertures, most: a handbook's
/// table for f/16 and smaller. 1/125 s +1/3, 1/250 s +2/3, 1/500 s +1 stop.
fn small_aperture_gain(aperture: f64, time_s: f64) -> f64 {
    // f/16 is exactly 16; marks are nominal, so a third less still counts.
    if aperture < 15.0 {
        return 0.0;
    }
    // 1/125 and 1/128 are one mark.
    match 1.0 / time_s {
        speed if speed >= 480.0 => 1.0,
        speed if speed >= 240.0 => 2.0 / 3.0,
        speed if speed >= 120.0 => 1.0 / 3.0,
        _ => 0.0,
    }
}

fn is_measured(side: &Side<'_>, c: &record::CameraExposure) -> bool {
    c.time.actual.is_some()
        || c.lens
            .as_ref()
            .and_then(|id| side.of.test.lens(id))
            .is_some_and(|lens| {
                lens.shutter
                    .measured
                    .iter()
                    .any(|m| (m.marked.to_s() / c.time.marked.to_s() - 1.0).abs() < 1e-6)
            })
}

/// How much too large a number may be since fast marked speeds at small
/// apertures give more than marked: the bare frames' gain less the filtered ones'.
fn leaf_gain(side: &Side<'_>) -> f64 {
    let gain = |filtered: bool| {
        side.exposures()
            .iter()
            .filter(|(f, c)| side.is_filtered(f) == filtered && !is_measured(side, c))
            .map(|(_, c)| small_aperture_gain(c.aperture.to_ratio(), c.time.marked.to_s()))
            .fold(0.0_f64, f64::max)
    };
    match side.number {
        Number::Factor(_) => (gain(false) - gain(true)).max(0.0),
        // A film that got more than marked looks faster than it is.
        Number::Speed(_) => -gain(false),
    }
}

fn leaf_shutter(a: &Side<'_>, b: &Side<'_>) -> PossibleCause {
    let cause = "a leaf shutter's gain at small apertures";
    let (ga, gb) = (leaf_gain(a), leaf_gain(b));
    if ga == 0.0 && gb == 0.0 {
        return PossibleCause {
            cause,
            stops: size(0.0, 0.0),
            state: CauseState::Excluded,
            why: "no marked speed of 1/125 s or shorter at f/16 or smaller".to_owned(),
        };
    }
    let low = gb.min(0.0) - ga.max(0.0);
    let high = gb.max(0.0) - ga.min(0.0);
    let mut told = vec![];
    for (side, gain) in [(a, ga), (b, gb)] {
        if gain != 0.0 {
            told.push(format!(
                "{} exposed unfiltered frames at a marked 1/125 s or shorter and f/16 or smaller; a leaf shutter then gives up to {:.2} stop more (a handbook's table), and {}",
                side.of.name,
                gain.abs(),
                if gain > 0.0 {
                    "the factor comes out too large"
                } else {
                    "the film looks too fast"
                }
            ));
        }
    }
    PossibleCause {
        cause,
        stops: size(low, high),
        state: CauseState::Possible,
        why: told.join("; "),
    }
}

fn batch(a: &Side<'_>, b: &Side<'_>) -> PossibleCause {
    let cause = "the batch";
    let of = |s: &Side<'_>| s.film().and_then(|f| f.batch.clone());
    match (of(a), of(b)) {
        (Some(x), Some(y)) if plain(&x) == plain(&y) => PossibleCause {
            cause,
            stops: size(0.0, 0.0),
            state: CauseState::Excluded,
            why: format!("{x} in both"),
        },
        (Some(x), Some(y)) => PossibleCause {
            cause,
            stops: either_way(BATCH_STOPS),
            state: CauseState::Present,
            why: format!("{x} against {y}: batches of one film may differ by half a stop"),
        },
        _ => PossibleCause {
            cause,
            stops: either_way(BATCH_STOPS),
            state: CauseState::Possible,
            why: "the batch is not recorded in both".to_owned(),
        },
    }
}

/// A process in words; whether it says enough to be compared.
fn process_words(p: &Process) -> (String, bool) {
    let mut words = vec![p.developer.clone()];
    words.extend(p.dilution.clone());
    words.extend(p.time.map(|t| format!("{:.0} s", t.to_s())));
    words.extend(p.temperature.map(|t| format!("{:.1} °C", t.to_c())));
    (
        words.join(", "),
        p.dilution.is_some() && p.time.is_some() && p.temperature.is_some(),
    )
}

fn process(a: &Side<'_>, b: &Side<'_>, quantity: ComparedQuantity) -> PossibleCause {
    let cause = "the development";
    let most = if quantity == ComparedQuantity::FilterFactor {
        PROCESS_FACTOR_STOPS
    } else {
        PROCESS_STOPS
    };
    let described = |s: &Side<'_>| {
        let all: Vec<_> = s.processes().into_iter().map(process_words).collect();
        let full = !all.is_empty() && all.iter().all(|p| p.1);
        let words: Vec<_> = all.into_iter().map(|p| p.0).collect();
        (words.join(" and "), full)
    };
    let ((wa, fa), (wb, fb)) = (described(a), described(b));
    // Exposure shifts a curve along the axis, development changes its slope.
    let slope = match (a.gradient(), b.gradient()) {
        (Some((ga, sa)), Some((gb, sb))) => {
            let differs = (gb - ga).abs() > 1.645 * libm::hypot(sa, sb);
            Some((
                differs,
                format!(
                    "gradient {ga:.2} against {gb:.2}: {}",
                    if differs {
                        "the slopes differ, so development or emulsion does"
                    } else {
                        "the slopes agree, so a shift is exposure, light or speed rather than development"
                    }
                ),
            ))
        }
        _ => None,
    };
    let told = slope
        .as_ref()
        .map_or_else(String::new, |(_, words)| format!("; {words}"));
    let slopes_differ = slope.as_ref().is_some_and(|(d, _)| *d);
    if wa == wb && fa && fb && !slopes_differ {
        PossibleCause {
            cause,
            stops: size(0.0, 0.0),
            state: CauseState::Excluded,
            why: format!("{wa} in both{told}"),
        }
    } else if slopes_differ || (fa && fb) {
        PossibleCause {
            cause,
            stops: either_way(most),
            state: CauseState::Present,
            why: format!("{wa} against {wb}{told}"),
        }
    } else {
        PossibleCause {
            cause,
            stops: either_way(most),
            state: CauseState::Possible,
            why: format!("{wa} against {wb}, not fully recorded in both{told}"),
        }
    }
}

fn shutter(a: &Side<'_>, b: &Side<'_>) -> PossibleCause {
    let cause = "marked shutter speeds";
    let marked = |s: &Side<'_>| s.exposures().iter().any(|(_, c)| !is_measured(s, c));
    match (marked(a), marked(b)) {
        (false, false) => PossibleCause {
            cause,
            stops: size(0.0, 0.0),
            state: CauseState::Excluded,
            why: "the speeds used were measured in both".to_owned(),
        },
        (x, y) => {
            let sides = if x && y { 2.0 } else { 1.0 };
            let who = match (x, y) {
                (true, true) => "both go".to_owned(),
                (true, false) => format!("{} goes", a.of.name),
                _ => format!("{} goes", b.of.name),
            };
            PossibleCause {
                cause,
                stops: either_way(SHUTTER_STOPS * libm::sqrt(sides)),
                state: CauseState::Possible,
                why: format!(
                    "{who} by marks; {SHUTTER_STOPS} stop is one standard deviation of a mark, and the interval holds it already"
                ),
            }
        }
    }
}

fn criterion(a: &Side<'_>, b: &Side<'_>, quantity: ComparedQuantity) -> PossibleCause {
    let cause = "the criterion";
    if let (ComparedQuantity::FilterFactor, Number::Factor(x), Number::Factor(y)) =
        (quantity, a.number, b.number)
    {
        let net = |f: &crate::FactorFinding| f.matched_at.map(|d| d.to_density());
        return match (net(x), net(y)) {
            (Some(m), Some(n)) if (m - n).abs() <= 0.15 => PossibleCause {
                cause,
                stops: size(0.0, 0.0),
                state: CauseState::Excluded,
                why: format!("both matched near {m:.2} over base+fog"),
            },
            (Some(m), Some(n)) => PossibleCause {
                cause,
                // A gradient 6 % different behind the filter, over the log
                // exposure that lies between the two densities at 0.6.
                stops: either_way(0.06 * (m - n).abs() / 0.6 / core::f64::consts::LOG10_2),
                state: CauseState::Present,
                why: format!(
                    "matched at {m:.2} against {n:.2} over base+fog; where a filter changes the gradient the factor follows the density"
                ),
            },
            _ => PossibleCause {
                cause,
                stops: either_way(0.1),
                state: CauseState::Possible,
                why: "one was matched on a relative scale of density".to_owned(),
            },
        };
    }
    PossibleCause {
        cause,
        stops: size(0.0, 0.0),
        state: CauseState::Excluded,
        why: "both at 0.10 over base+fog, 3 1/3 stops below the metered mid-tone".to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_longer_edge_costs_stops_and_a_shorter_gives_them_back() {
        // Hand calculation: 25 nm at 0.4 to 1.2 stop for 10 nm is 1.0 to 3.0.
        let near = |x: f64, y: f64| (x - y).abs() < 1e-12;
        let (low, high) = edge_stops(25.0, 25.0);
        assert!(near(low, 1.0) && near(high, 3.0), "{low} {high}");
        let (low, high) = edge_stops(-25.0, -25.0);
        assert!(near(low, -3.0) && near(high, -1.0), "{low} {high}");
        let (low, high) = edge_stops(-5.0, 10.0);
        assert!(near(low, -0.6) && near(high, 1.2), "{low} {high}");
    }

    #[test]
    fn a_shaded_test_asks_for_more() {
        let (low, high, _) = sky_stops(Sky::ClearSun, Sky::OpenShade).unwrap();
        assert_eq!((low, high), OPEN_SHADE_STOPS);
        let (low, high, _) = sky_stops(Sky::OpenShade, Sky::ClearSun).unwrap();
        assert_eq!((-high, -low), OPEN_SHADE_STOPS);
        for sky in Sky::ALL {
            assert!(sky_stops(sky, sky).is_none());
        }
    }

    #[test]
    fn the_handbook_table_of_the_leaf_shutter() {
        // Source: "Leaf shutter at small apertures", a large-format forum's
        // quote of a handbook: f/16 or smaller, 1/125 +1/3, 1/250 +2/3, 1/500 +1.
        for (speed, gain) in [
            (60.0, 0.0),
            (125.0, 1.0 / 3.0),
            (250.0, 2.0 / 3.0),
            (500.0, 1.0),
        ] {
            assert_eq!(small_aperture_gain(16.0, 1.0 / speed), gain);
            assert_eq!(small_aperture_gain(8.0, 1.0 / speed), 0.0);
        }
    }
}
