//! Every figure: the numbers behind it first, then its drawing as a golden.
//!
//! `UPDATE_GOLDEN=1 cargo test -p figures` rewrites `tests/golden`.

#![expect(
    clippy::unwrap_used,
    reason = "functions of a test may panic on a broken fixture"
)]

use figures::{Colours, DensityScale, PatchLetters, Sheet};
use findings::{
    CurveFinding, CurveSample, FactorFinding, Findings, FrameFinding, PatchFinding, ReadingUse,
    SpeedFinding, Verdict, VerdictCriteria, WoodFinding,
};
use quantity::{
    Bound, Density, ExposureIndex, FilterFactor, Flags, Interval, LogExposure, Measured,
    NetDensity, Stops,
};
use record::{FrameRole, Id, PatchRole, Response};

#[expect(
    clippy::disallowed_methods,
    reason = "a golden is a file beside the test; the room itself stays pure"
)]
fn golden(name: &str, drawn: &str) {
    let path = format!("{}/tests/golden/{name}.svg", env!("CARGO_MANIFEST_DIR"));
    if std::env::var_os("UPDATE_GOLDEN").is_some() {
        std::fs::write(&path, drawn).unwrap();
    }
    let kept = std::fs::read_to_string(&path)
        .unwrap_or_else(|e| panic!("golden {name}.svg: {e}; UPDATE_GOLDEN=1 writes it"));
    for (place, (old, new)) in kept.lines().zip(drawn.lines()).enumerate() {
        assert_eq!(old, new, "golden {name}.svg, line {}", place + 1);
    }
    assert_eq!(kept.len(), drawn.len(), "golden {name}.svg: length differs");
}

fn id(text: &str) -> Id {
    Id::new(text).unwrap()
}

fn stops(value: f64, low: f64, high: f64) -> Interval<Stops> {
    let of = Interval {
        value,
        low,
        high,
        coverage: 0.9,
    };
    of.map(|s| Stops::new(s).unwrap())
}

fn ei(value: f64, low: f64, high: f64) -> Interval<ExposureIndex> {
    let of = Interval {
        value,
        low,
        high,
        coverage: 0.9,
    };
    of.map(|e| ExposureIndex::from_arithmetic(e).unwrap())
}

/// Base+fog 0.10 and a straight line of gradient 0.6 from log H −2.
fn density(log_h: f64) -> f64 {
    0.10 + 0.6 * (log_h + 2.0).max(0.0)
}

fn patch(name: &str, role: PatchRole, log_h: f64, limit: Option<Bound>) -> PatchFinding {
    let value = density(log_h);
    PatchFinding {
        patch: id(name),
        role,
        reading: Measured::new(value, 0.03),
        limit,
        net: Some(NetDensity::new(value - 0.10).unwrap()),
        log_h: Some(LogExposure::from_log10(log_h).unwrap()),
    }
}

fn frame(name: &str, filters: &[&str], at: f64, ei: f64, verdict: Verdict) -> FrameFinding {
    let limit = (verdict == Verdict::Blank).then_some(Bound::AtMost);
    FrameFinding {
        frame: id(name),
        film: id("pan"),
        process: id("n"),
        filters: filters.iter().map(|f| id(f)).collect(),
        light: Some(id("noon")),
        role: FrameRole::Bracket,
        holder: None,
        exposure: "f/22, 1 s".into(),
        verdict,
        reason: "as read".into(),
        stops_missing: None,
        stops_missing_bound: None,
        exposure_error: None,
        effective_ei: Some(ExposureIndex::from_arithmetic(ei).unwrap()),
        patches: vec![
            patch("shadow", PatchRole::Shadow, at - 0.6, limit),
            patch("card", PatchRole::GreyCard, at, limit),
        ],
        flags: Flags::none(),
    }
}

fn curve(process: &str, gradient: f64) -> CurveFinding {
    CurveFinding {
        film: id("pan"),
        process: id(process),
        response: Response::Density,
        absolute_exposure: true,
        base_plus_fog: Some(Measured::new(Density::gross(0.10).unwrap(), 0.01)),
        samples: (0..=6)
            .map(|step| {
                let log_h = -2.4 + 0.4 * f64::from(step);
                CurveSample {
                    log_h,
                    value: 0.10 + gradient * (log_h + 2.0).max(0.0),
                    standard_uncertainty: 0.04,
                }
            })
            .collect(),
        gradient: Measured::new(gradient, 0.03),
        // 0.10 over base+fog lies 0.10/0.6 above −2.
        speed_point: Some(Measured::new(
            LogExposure::from_log10(-2.0 + 0.10 / gradient).unwrap(),
            0.05,
        )),
        point_n: Some((
            LogExposure::from_log10(-0.70 + 0.10 / gradient).unwrap(),
            Density::gross(0.20 + 1.30 * gradient).unwrap(),
        )),
        criteria: vec![],
        residual_rms: 0.012,
        reading_count: 6,
        flags: Flags::none(),
    }
}

fn factor(filter: &str, of: Interval<Stops>, bound: Option<Bound>) -> FactorFinding {
    FactorFinding {
        film: id("pan"),
        filters: vec![id(filter)],
        light: id("noon"),
        against: vec![],
        factor: of.map(|s| FilterFactor::from_stops(s).unwrap()),
        stops: of,
        ei: Some(if bound.is_some() {
            ei(0.01, 0.001, 0.05)
        } else {
            ei(1.5, 1.05, 2.1)
        }),
        ei_basis: "the unfiltered EI".into(),
        bound,
        matched_at: None,
        matched_on: vec![],
        patch_spread: None,
        frames_used: 2,
        frames_as_limits: 1,
        shares: vec![],
        made_from: vec![],
        next_steps: vec![],
        interval_method: "posterior".into(),
        flags: Flags::none(),
    }
}

fn findings() -> Findings {
    let frames = vec![
        frame("anchor", &[], -0.9, 200.0, Verdict::Printable),
        frame("ir-1", &["ir"], -1.2, 1.6, Verdict::Printable),
        frame("ir-0", &["ir"], -2.2, 100.0, Verdict::Blank),
    ];
    let readings = frames
        .iter()
        .flat_map(|f| {
            f.patches.iter().map(|p| ReadingUse {
                frame: f.frame.clone(),
                patch: p.patch.clone(),
                response: Response::Density,
                value: p.reading.clone(),
                limit: p.limit,
                fitted: None,
                allowed: 0.03,
                weight: 1.0,
                origin: "densitometer".into(),
            })
        })
        .collect();
    Findings {
        title: "t".into(),
        invented: true,
        method: "m".into(),
        coverage: 0.9,
        bracket_curves: vec![],
        curves: vec![curve("n", 0.6), curve("n-plus", 0.75)],
        frames,
        factors: vec![
            factor("ir", stops(7.7, 7.2, 8.3), None),
            factor("deep-ir", stops(14.0, 11.3, 20.0), Some(Bound::AtLeast)),
        ],
        speeds: vec![SpeedFinding {
            film: id("pan"),
            process: id("n"),
            ei: ei(310.0, 250.0, 390.0),
            basis: "anchor".into(),
            flags: Flags::none(),
        }],
        causes: vec![],
        wood_effect: vec![WoodFinding {
            film: id("pan"),
            filters: vec![id("ir")],
            light: id("noon"),
            shade: false,
            foliage: id("leaves"),
            card: id("card"),
            gain: stops(1.7, 1.4, 2.0),
            bound: None,
            flags: Flags::none(),
        }],
        cannot_tell: vec![],
        assumptions: vec![],
        readings,
        criteria: VerdictCriteria::COMMON_PRACTICE,
        flags: Flags::none(),
        notes: vec![],
    }
}

/// Counts the pieces of a drawing that hold a text.
fn texts<'a>(svg: &'a str, text: &'a str) -> usize {
    svg.matches(&format!(">{text}</text>")).count()
}

/// Gives the x of the text, as written.
fn x_of(svg: &str, text: &str) -> f64 {
    let line = svg
        .lines()
        .find(|l| l.contains(&format!(">{text}</text>")))
        .unwrap_or_else(|| panic!("{text:?} is not drawn"));
    let rest = line.split("x=\"").nth(1).unwrap();
    rest.split('"').next().unwrap().parse().unwrap()
}

#[test]
fn the_characteristic_curve_marks_m_n_and_every_patch() {
    let found = findings();
    let letters = PatchLetters::of(&found);
    let svg =
        figures::characteristic_curve(&found, &found.curves[0], &letters, Sheet::FILE).unwrap();
    // Hand calculation: m at −2 + 0.10/0.6 = −1.83, so n is at −0.53.
    assert_eq!(texts(&svg, "m −1.83"), 1);
    assert_eq!(texts(&svg, "n +1.30"), 1);
    assert_eq!(texts(&svg, "log H (lux seconds)"), 1);
    assert_eq!(texts(&svg, "density (gross)"), 1);
    assert_eq!(texts(&svg, "base+fog 0.10"), 1);
    // m and n are 1.30 apart, and two labels 0.6 apart give the unit: 0.01 px is one written digit.
    let unit = (x_of(&svg, "−1.2") - x_of(&svg, "−1.8")) / 0.6;
    let apart = (x_of(&svg, "n +1.30") - x_of(&svg, "m −1.83")) / unit;
    assert!((apart - 1.30).abs() < 0.001, "{apart}");
    // Two patches on three frames: each letter once on the curve and once in its row.
    for letter in ["A", "B"] {
        assert!(
            texts(&svg, letter) >= 5,
            "{letter}: {}",
            texts(&svg, letter)
        );
    }
    golden("characteristic_curve", &svg);
}

#[test]
fn a_relative_exposure_axis_says_so() {
    let found = findings();
    let mut curve = found.curves[0].clone();
    curve.absolute_exposure = false;
    let letters = PatchLetters::of(&found);
    let svg = figures::characteristic_curve(&found, &curve, &letters, Sheet::FILE).unwrap();
    assert_eq!(texts(&svg, "relative log H"), 1);
    assert!(!svg.contains("lux"), "{svg}");
}

#[test]
fn a_curve_without_samples_is_not_drawn() {
    let found = findings();
    let mut curve = found.curves[0].clone();
    curve.samples.clear();
    let letters = PatchLetters::of(&found);
    assert!(figures::characteristic_curve(&found, &curve, &letters, Sheet::FILE).is_none());
    assert!(figures::curve_family(&[], Sheet::FILE).is_none());
}

#[test]
fn numbers_that_are_none_do_not_stop_a_drawing() {
    let found = findings();
    let mut curve = found.curves[0].clone();
    curve.samples[3].value = f64::NAN;
    curve.residual_rms = f64::NAN;
    let letters = PatchLetters::of(&found);
    assert!(figures::characteristic_curve(&found, &curve, &letters, Sheet::PHONE).is_some());
}

#[test]
fn a_family_labels_each_curve_at_its_end() {
    let found = findings();
    let curves: Vec<_> = found.curves.iter().collect();
    let svg = figures::curve_family(&curves, Sheet::FILE).unwrap();
    assert_eq!(texts(&svg, "n"), 1);
    assert_eq!(texts(&svg, "n-plus"), 1);
    golden("curve_family", &svg);

    let mut relative = found.curves[1].clone();
    relative.absolute_exposure = false;
    assert!(figures::curve_family(&[&found.curves[0], &relative], Sheet::FILE).is_none());
}

#[test]
fn density_bars_have_one_scale_and_a_verdict_for_each_frame() {
    let found = findings();
    let letters = PatchLetters::of(&found);
    let drawn = figures::density_bars(&found, &letters, Sheet::FILE);
    assert_eq!(drawn.len(), 1);
    // Hand calculation: the anchor's card is 0.6 × 1.1 = 0.66 net, ir-1's 0.6 × 0.8 = 0.48.
    let svg = &drawn[0];
    assert_eq!(texts(svg, "printable"), 2);
    assert_eq!(texts(svg, "blank"), 1);
    assert_eq!(texts(svg, "net density (over base+fog)"), 1);
    assert_eq!(texts(svg, "Printable: 2 of 3 judged frames"), 1);
    golden("density_bars", svg);
}

#[test]
fn a_relative_scale_gets_a_figure_of_its_own() {
    let mut found = findings();
    for patch in &mut found.frames[2].patches {
        patch.net = None;
    }
    for reading in &mut found.readings {
        reading.response = Response::RelativeDensity;
    }
    let letters = PatchLetters::of(&found);
    let drawn = figures::density_bars(&found, &letters, Sheet::FILE);
    assert_eq!(drawn.len(), 2);
    assert_eq!(texts(&drawn[1], "relative density"), 1);
}

#[test]
fn a_bound_is_an_arrow_and_an_interval_a_bar() {
    let mut found = findings();
    let svg = figures::factor_intervals(&found, Sheet::FILE).unwrap();
    // Hand calculation: 2^7.7 = 208 and 2^11.3 = 2521.
    assert_eq!(texts(&svg, "×210 · 7.7 (7.2 to 8.3) stops"), 1);
    assert_eq!(texts(&svg, "≥\u{a0}×2500 · ≥\u{a0}11.3 stops"), 1);
    golden("factor_intervals", &svg);

    let rectangles = |svg: &str| svg.matches("<rect x").count();
    found.factors.remove(0);
    let bound_only = figures::factor_intervals(&found, Sheet::FILE).unwrap();
    assert_eq!(rectangles(&bound_only), 0);
    assert!(bound_only.contains("<polygon"), "no arrow head");
    assert!(
        !bound_only.contains("20.0"),
        "the end that does not hold is shown"
    );
    assert_eq!(
        texts(
            &bound_only,
            "At least 11.3 stops more: pan behind deep-ir in noon"
        ),
        1
    );
}

#[test]
fn a_lower_bound_of_the_factor_is_an_upper_bound_of_the_ei() {
    let found = findings();
    let svg = figures::ei_intervals(&found, Sheet::FILE).unwrap();
    assert_eq!(texts(&svg, "EI 320 (250 to 400)"), 1);
    assert_eq!(texts(&svg, "EI 1.6 (1 to 2.5)"), 1);
    assert_eq!(texts(&svg, "EI ≤\u{a0}0.05"), 1);
    golden("ei_intervals", &svg);
}

#[test]
fn a_bracket_names_each_frame_and_its_verdict() {
    let found = findings();
    let svg = figures::bracket(&found, &found.factors[0], Sheet::FILE).unwrap();
    for text in ["ir-1", "ir-0", "printable", "blank"] {
        assert_eq!(texts(&svg, text), 1, "{text}");
    }
    // The anchor is not behind the filter.
    assert_eq!(texts(&svg, "anchor"), 0);
    golden("bracket", &svg);
    assert!(figures::bracket(&found, &found.factors[1], Sheet::FILE).is_none());
}

#[test]
fn the_wood_effect_is_a_gain_with_its_sign() {
    let found = findings();
    let svg = figures::wood_effect(&found, Sheet::FILE).unwrap();
    assert_eq!(texts(&svg, "+1.7 (+1.4 to +2.0) stops"), 1);
    golden("wood_effect", &svg);
}

#[test]
fn the_density_scale_has_steps_of_one_stop_and_base_plus_fog() {
    let scale = DensityScale {
        white_density: 0.0,
        base_plus_fog: Some(0.12),
        lifted_by: Stops::ZERO,
        absolute: true,
    };
    let svg = figures::density_scale(&scale, Colours::File);
    assert_eq!(texts(&svg, "b+f 0.12"), 1);
    for step in ["0.0", "0.3", "3.0"] {
        assert_eq!(texts(&svg, step), 1, "{step}");
    }
    golden("density_scale", &svg);
}

/// A test of so many frames, two readings each, on the curve of [`findings`].
fn many(frames: usize) -> Findings {
    let mut found = findings();
    found.frames = (0..frames)
        .map(|place| {
            let filters: &[&str] = if place % 4 == 0 { &[] } else { &["ir"] };
            let at = -1.5 + 0.9 * (place % 97) as f64 / 97.0;
            frame(
                &format!("n{place}"),
                filters,
                at,
                2.0 + place as f64 / 1000.0,
                Verdict::Printable,
            )
        })
        .collect();
    found
}

#[test]
fn of_many_frames_forty_have_rows_and_the_rest_is_counted() {
    let found = many(1000);
    let letters = PatchLetters::of(&found);
    let curve =
        figures::characteristic_curve(&found, &found.curves[0], &letters, Sheet::FILE).unwrap();
    let bars = figures::density_bars(&found, &letters, Sheet::FILE).remove(0);
    for svg in [&curve, &bars] {
        // Hand count: n0 to n39 are forty; 960 are left.
        assert_eq!(texts(svg, "n39"), 1);
        assert_eq!(texts(svg, "n40"), 0);
        assert!(svg.contains(">960 frames more "), "the rest is not counted");
        assert!(svg.contains("readings.csv"));
        // 300 kB: 2000 readings one by one would take over 600 kB.
        assert!(svg.len() < 300_000, "{}", svg.len());
    }
    let bracket = figures::bracket(&found, &found.factors[0], Sheet::FILE).unwrap();
    // Three of four frames are filtered.
    assert!(bracket.contains(">750 frames at the EI"));
    assert_eq!(texts(&bracket, "printable"), 40);
}

#[test]
fn every_frame_has_a_sign_of_its_own() {
    let found = many(40);
    let letters = PatchLetters::of(&found);
    let svg =
        figures::characteristic_curve(&found, &found.curves[0], &letters, Sheet::FILE).unwrap();
    // The sign of a row is what is drawn between its rule and its name; it is
    // told by its outline from its middle, its fill and what lies over it.
    let lines: Vec<&str> = svg.lines().collect();
    let mut signs = std::collections::BTreeSet::new();
    for place in 0..40 {
        let name = format!(">n{place}</text>");
        let row = lines.iter().position(|l| l.contains(&name)).unwrap();
        let y: f64 = lines[row]
            .split("y=\"")
            .nth(1)
            .unwrap()
            .split('"')
            .next()
            .unwrap()
            .parse()
            .unwrap();
        // The rule of a row is drawn after its name, so the sign begins after
        // the last text or the last rule before.
        let begin = lines[..row]
            .iter()
            .rposition(|l| l.starts_with("<text") || l.contains("--rule") || l.contains("#dcdcdc"))
            .unwrap()
            + 1;
        let sign: Vec<String> = lines[begin..row].iter().map(|l| relative(l, y)).collect();
        assert!(!sign.is_empty(), "n{place} has no sign");
        signs.insert(sign);
    }
    assert_eq!(signs.len(), 40);
}

/// Writes a line with its numbers near a height taken from that height.
fn relative(line: &str, y: f64) -> String {
    line.split([' ', '"', ',', 'M', 'h'])
        .map(|word| match word.parse::<f64>() {
            // 12 px: a sign is no larger, and no other number of it is as large.
            Ok(number) if (number - y).abs() < 12.0 => format!("{:.1}", number - y),
            _ => word.to_owned(),
        })
        .collect::<Vec<_>>()
        .join(" ")
}

#[test]
fn letters_hang_only_on_the_frames_spoken_of() {
    let mut found = many(20);
    for frame in &mut found.frames {
        // n8 and n13 are right, the others one stop over.
        let off = if ["n8", "n13"].contains(&frame.frame.as_str()) {
            0.0
        } else {
            -1.0
        };
        frame.stops_missing = Some(Measured::new(Stops::new(off).unwrap(), 0.1));
    }
    let letters = PatchLetters::of(&found);
    let svg =
        figures::characteristic_curve(&found, &found.curves[0], &letters, Sheet::FILE).unwrap();
    assert!(svg.contains(">Letters on the curve: n8 and n13; "), "{svg}");
    // Each letter once in each of 20 rows and on two frames of the curve.
    assert_eq!(texts(&svg, "A"), 22);
}

#[test]
fn findings_without_anything_draw_nothing() {
    let mut found = findings();
    found.frames.clear();
    found.factors.clear();
    found.speeds.clear();
    found.wood_effect.clear();
    let letters = PatchLetters::of(&found);
    assert!(figures::density_bars(&found, &letters, Sheet::FILE).is_empty());
    assert!(figures::factor_intervals(&found, Sheet::FILE).is_none());
    assert!(figures::ei_intervals(&found, Sheet::FILE).is_none());
    assert!(figures::wood_effect(&found, Sheet::FILE).is_none());
}

#[test]
fn an_end_that_tells_nothing_does_not_stretch_the_axis() {
    let mut found = findings();
    found.factors = vec![factor("ir", stops(7.7, -900.0, 900.0), None)];
    let svg = figures::factor_intervals(&found, Sheet::PHONE).unwrap();
    // 200 lines: the axis ends 10 stops from the value, so ticks are few.
    assert!(svg.lines().count() < 200, "{}", svg.lines().count());
}

#[test]
fn every_file_has_a_name_of_its_own_and_stands_alone() {
    let drawn = figures::named_figures(&findings());
    let names: std::collections::BTreeSet<_> = drawn.iter().map(|f| &f.name).collect();
    assert_eq!(names.len(), drawn.len());
    assert!(names.contains(&"curve-family-pan".to_owned()));
    for figure in &drawn {
        assert!(!figure.svg.contains("var(--"), "{}", figure.name);
        assert!(figure.svg.contains("role=\"img\"") && figure.svg.contains("<title>"));
    }
}

#[test]
fn spectral_panels_show_the_band_and_its_limits() {
    use spectra::{
        Curve, CurveKind, Ends, GridChoice, Interpolation, Predicting, VerdictLimits, prediction,
    };
    let curve = |kind, values: &[(f64, f64)]| Curve::from_values(kind, "invented", values).unwrap();
    let film = curve(
        CurveKind::Sensitivity,
        &[(400.0, 1.0), (600.0, 1.0), (700.0, 0.0)],
    );
    let filter = curve(
        CurveKind::Transmittance,
        &[(400.0, 0.0), (600.0, 0.0), (600.1, 1.0), (700.0, 1.0)],
    );
    let light = curve(CurveKind::RelativePower, &[(400.0, 1.0), (700.0, 1.0)]);
    let of = Predicting {
        film: &film,
        filter: &filter,
        light: &light,
        interpolation: Interpolation::Linear,
        grid: GridChoice::Union,
        ends: Ends::LeftOut,
    };
    let p = prediction(&of, VerdictLimits::COMMON_PRACTICE).unwrap();
    // Hand calculation: 250 against 50 is 5, 2.3 stops. The response falls in a
    // straight line from 600 to 700 nm: 10 % lies below 600 + 100 (1 − √0.9) =
    // 605.1, 90 % below 600 + 100 (1 − √0.1) = 668.4. 0.1: the filter's own edge.
    assert!((p.stops().unwrap().to_stops() - 2.32).abs() < 0.01);
    let band = p.filtered.band.unwrap();
    assert!((band.low.to_nm() - 605.1).abs() < 0.1 && (band.high.to_nm() - 668.4).abs() < 0.1);
    let panels = figures::SpectralPanels {
        film: "Film (invented)",
        filter: "edge 600",
        light: "equal energy",
        prediction: &p,
        filter_curve: &filter,
        interpolation: Interpolation::Linear,
        sun_heights: &[],
    };
    let drawn = figures::spectral_panels(&panels, Sheet::FILE);
    assert!(drawn.contains("605 nm") && drawn.contains("668 nm"));
    assert!(drawn.contains("Behind edge 600 the film needs 2.3 stops more"));
    golden("spectral_panels", &drawn);
}

#[test]
fn band_labels_at_the_edge_of_a_phone_lie_one_below_the_other() {
    use spectra::{
        Curve, CurveKind, Ends, GridChoice, Interpolation, Predicting, VerdictLimits, prediction,
    };
    let curve = |kind, values: &[(f64, f64)]| Curve::from_values(kind, "invented", values).unwrap();
    let film = curve(
        CurveKind::Sensitivity,
        &[(400.0, 1.0), (720.0, 1.0), (750.0, 0.0)],
    );
    let filter = curve(
        CurveKind::Transmittance,
        &[(400.0, 0.0), (710.0, 0.0), (710.1, 1.0), (750.0, 1.0)],
    );
    let light = curve(CurveKind::RelativePower, &[(400.0, 1.0), (750.0, 1.0)]);
    let of = Predicting {
        film: &film,
        filter: &filter,
        light: &light,
        interpolation: Interpolation::Linear,
        grid: GridChoice::Union,
        ends: Ends::LeftOut,
    };
    let p = prediction(&of, VerdictLimits::COMMON_PRACTICE).unwrap();
    let panels = figures::SpectralPanels {
        film: "Film (invented)",
        filter: "edge 710",
        light: "equal energy",
        prediction: &p,
        filter_curve: &filter,
        interpolation: Interpolation::Linear,
        sun_heights: &[],
    };
    // The height of each label's base line, from a drawing.
    let heights = |sheet| -> Vec<f64> {
        figures::spectral_panels(&panels, sheet)
            .lines()
            .filter(|line| line.contains("<text") && line.ends_with(" nm</text>"))
            .filter(|line| !line.contains("wavelength"))
            .map(|line| {
                let (_, rest) = line.split_once(" y=\"").unwrap();
                rest.split_once('"').unwrap().0.parse().unwrap()
            })
            .collect()
    };
    // 300 px hold 400 to 750 nm, so the band of some 20 nm is some 20 px wide, and each
    // label about 40: beside one another they would need more than is left of the edge.
    let phone = heights(Sheet::PHONE);
    assert_eq!(phone.len(), 2, "{phone:?}");
    // 12: the size of the letters, in pixels.
    assert!(phone[1] - phone[0] >= 12.0, "{phone:?}");
    let file = heights(Sheet::FILE);
    assert_eq!(file.len(), 2, "{file:?}");
    assert_eq!(file[0], file[1], "a wide sheet has room for both");
}
