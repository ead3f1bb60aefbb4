//! The field card's pages: what they say, and that nothing in a name can act.

#![expect(clippy::unwrap_used, reason = "a test stops at the first surprise")]

use exposure::reciprocity_law_from_text;
use quantity::{Ev100, ExposureIndex, FNumber, Seconds};
use record::*;
use report::card::{CardFrame, CardInput, cards_html, phone_html, sheet_html};

const HOSTILE: &str = "</script><!--<img src=x onerror=alert(1)>\"'&";

fn id(text: &str) -> Id {
    Id::new(text).unwrap()
}

fn test() -> PlannedTest {
    let parts = TestParts {
        title: HOSTILE.into(),
        invented: true,
        films: vec![Film {
            id: id("f"),
            name: HOSTILE.into(),
            format: None,
            box_speed: None,
            batch: None,
            expiry: None,
            reciprocity: None,
        }],
        lights: vec![Light {
            id: id("sun"),
            sky: Sky::ClearSun,
            place: None,
            time: None,
            meter: None,
            reading: None,
            drift: None,
            remarks: None,
        }],
        lenses: vec![Lens {
            id: id("lens"),
            name: "Lens L".into(),
            focal_length: None,
            pupil_ratio: None,
            shutter: Shutter {
                marked_uncertainty: None,
                measured: vec![MeasuredTime {
                    marked: Seconds::from_s(2.0).unwrap(),
                    actual: Seconds::from_s(2.3).unwrap(),
                    spread: quantity::Stops::ZERO,
                }],
            },
        }],
        processes: vec![Process {
            id: id("p"),
            developer: "D".into(),
            dilution: None,
            time: None,
            temperature: None,
            agitation: None,
            remarks: None,
        }],
        ..TestParts::default()
    };
    let planned = PlannedFrame {
        id: id("1"),
        film: id("f"),
        filters: vec![],
        process: id("p"),
        holder: Some(HOSTILE.into()),
        load: Some(3),
        role: FrameRole::Anchor,
        exposure: PlannedExposure::Camera(PlannedCamera {
            lens: Some(id("lens")),
            light: id("sun"),
            ei: ExposureIndex::from_arithmetic(1.5).unwrap(),
            aperture: FNumber::from_ratio(45.0).unwrap(),
            time: PlannedTime {
                marked: Seconds::from_s(2.0).unwrap(),
                metered: None,
                corrected: None,
                law: None,
            },
            bellows: None,
        }),
        why: Some(HOSTILE.into()),
        remarks: Some(HOSTILE.into()),
    };
    PlannedTest::assemble(parts, vec![planned]).unwrap()
}

fn input(test: &PlannedTest) -> CardInput<'_> {
    CardInput {
        test,
        plan_sha256: "0123456789abcdef".repeat(4),
        frames: vec![CardFrame {
            ev100: Some(Ev100::from_ev(14.0).unwrap()),
            bellows_factor: 1.0,
            metered: Some(Seconds::from_s(1.7).unwrap()),
            corrected: Some(Seconds::from_s(2.0).unwrap()),
            law: Some((
                "power:1.31".into(),
                reciprocity_law_from_text("power:1.31").unwrap(),
            )),
            notes: vec![HOSTILE.into()],
            ..CardFrame::default()
        }],
        version: "Filmproof 0".into(),
    }
}

#[test]
fn no_name_can_end_its_element_and_nothing_is_loaded() {
    let test = test();
    for page in [
        phone_html(&input(&test)),
        sheet_html(&input(&test)),
        cards_html(&input(&test)),
    ] {
        assert!(!page.contains("<img"), "a name became an element");
        assert!(!page.contains("<!--"), "a name began a comment");
        assert!(!page.contains("http://") && !page.contains("https://"));
        assert!(page.contains("default-src 'none'"));
        assert!(page.contains("nvented"));
        let scripts = page.matches("<script").count();
        assert_eq!(scripts, page.matches("</script>").count());
        assert!(matches!(scripts, 0 | 2));
    }
}

/// A misread filter spoils a sheet: it stands apart from the small print, in big type.
#[test]
fn the_filter_stands_apart_on_every_card() {
    let test = test();
    for page in [sheet_html(&input(&test)), cards_html(&input(&test))] {
        assert!(page.contains("class=\"filter\""), "{page}");
    }
}

/// Twelve frames: each has a row, a card and an entry of the phone, in the plan's order.
#[test]
fn more_than_ten_frames_all_have_their_place() {
    let one = test();
    let frames: Vec<_> = (0..12)
        .map(|n| PlannedFrame {
            id: id(&format!("frame-{n:02}")),
            holder: Some(format!(
                "{}{}",
                n / 2 + 1,
                if n % 2 == 0 { "A" } else { "B" }
            )),
            load: None,
            ..one.planned()[0].clone()
        })
        .collect();
    let many = PlannedTest::assemble(one.records().parts().clone(), frames).unwrap();
    let whole = CardInput {
        frames: vec![CardFrame::default(); 12],
        ..input(&many)
    };
    for page in [sheet_html(&whole), cards_html(&whole), phone_html(&whole)] {
        let places: Vec<usize> = (0..12)
            .map(|n| page.find(&format!("frame-{n:02}")).unwrap())
            .collect();
        assert!(places.is_sorted(), "{places:?}");
    }
    assert_eq!(sheet_html(&whole).matches("class=\"frame\"").count(), 12);
    // One card each, and one of cautions.
    assert_eq!(cards_html(&whole).matches("<article>").count(), 13);
}

#[test]
fn a_frame_says_what_to_set() {
    let test = test();
    for page in [sheet_html(&input(&test)), cards_html(&input(&test))] {
        for wanted in [
            "f/45",
            "2 s",
            "EI 1.5",
            "(loading 3)",
            "metered 1.7 s, corrected 2 s by power:1.31",
            "Lens L: 2 s measured as 2.3 s",
            "plan 0123456789ab",
            "the infrared that passes burns the retina",
            "class=\"box\"",
        ] {
            assert!(page.contains(wanted), "{wanted}");
        }
    }
    let phone = phone_html(&input(&test));
    assert!(
        phone
            .contains(r#""law":{"form":"threshold_power","p":1.31,"t0":1.0,"from":0.0,"to":null}"#)
    );
    assert_eq!(phone, phone_html(&input(&test)), "the same bytes again");
}
