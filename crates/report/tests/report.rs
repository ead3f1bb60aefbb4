//! The report as a whole: what must be in it, and what must not.

#[expect(clippy::unwrap_used, reason = "a fixture may panic when it is broken")]
mod fixture;

use fixture::{findings, id, input, test};
use quantity::{Flag, Measured};

fn page(title: &str) -> String {
    let (test, findings) = (test(title), findings(title));
    report::html(&input(&test, &findings))
}

#[test]
fn a_title_cannot_become_markup() {
    let title = "<script>alert(1)</script> & \"</style>\" 'x'";
    let page = page(title);
    assert!(!page.contains("<script"));
    assert_eq!(page.matches("</style>").count(), 1);
    assert!(page.contains("&lt;script&gt;alert(1)&lt;/script&gt; &amp; "));
}

#[test]
fn a_name_that_turns_the_line_or_is_very_long_stays_within_itself() {
    // U+202E, right-to-left override (Unicode Standard Annex #9), with no end of it.
    let turned = "Pan \u{202e}001";
    let long = "Pan".repeat(40);
    let mut parts = test("A test \u{202e}of it").parts().clone();
    parts.films[0].name = turned.to_owned();
    parts.filters[0].name.clone_from(&long);
    let test = record::Test::assemble(parts).unwrap();
    let page = report::html(&input(&test, &findings("A test \u{202e}of it")));
    assert!(page.contains("<title>A test of it</title>"));
    let apart = page.matches(&format!("<bdi>{turned}</bdi>")).count();
    assert!(apart > 0);
    for figure in page.split("<svg").skip(1) {
        let figure = figure.split("</svg>").next().unwrap();
        assert!(!figure.contains('\u{202e}'), "{figure}");
    }
    assert!(page.contains(&format!("<bdi class=\"long-name\">{long}</bdi>")));
}

#[test]
fn every_reading_is_shown() {
    let title = "t";
    let (test, mut findings) = (test(title), findings(title));
    // A value that nothing else has, for each reading.
    for (place, reading) in findings.readings.iter_mut().enumerate() {
        reading.value = Measured::new(5.0 + 0.001 * place as f64, 0.01);
    }
    let page = report::html(&input(&test, &findings));
    for reading in &findings.readings {
        let cell = format!(">{:.3}</td>", reading.value.value());
        assert_eq!(page.matches(&cell).count(), 1, "{cell}");
    }
}

#[test]
fn every_exposure_record_and_scan_is_shown() {
    let title = "t";
    let (test, findings) = (test(title), findings(title));
    let input = input(&test, &findings);
    let page = report::html(&input);
    let raw = page.split("id=\"raw\"").nth(1).unwrap();
    for frame in &test.parts().frames {
        assert!(
            raw.contains(&format!("<th scope=\"row\"><bdi>{}</bdi></th>", frame.id)),
            "{}",
            frame.id
        );
    }
    for scan in &input.scans {
        assert!(raw.contains(&scan.sha256), "{}", scan.scan);
    }
    assert!(raw.contains("wind in the leaves"));
}

#[test]
fn the_answer_is_the_largest_text_and_comes_first() {
    let page = page("t");
    let answer = page.find("EI 1.6").unwrap();
    assert!(answer < page.find("id=\"evidence\"").unwrap());
    assert!(page.contains(".ei{margin:0;color:var(--accent);font-size:40px"));
    // 40 px is the largest size there is.
    let sizes = page
        .match_indices("font-size:")
        .filter_map(|(at, _)| page[at + 10..].split("px").next()?.parse::<f64>().ok());
    assert!(sizes.fold(0.0, f64::max) <= 40.0);
}

#[test]
fn a_bound_is_shown_as_a_bound() {
    let page = page("t");
    assert!(page.contains("EI ≤\u{a0}0.032"));
    assert!(page.contains("≥\u{a0}11.3"));
    // The far end of the bound's interval is 20 stops and must not be shown as an end.
    assert!(!page.contains("11.3 to 20.0"));
}

#[test]
fn invented_data_are_called_so_and_only_then() {
    let title = "t";
    let (test, mut findings) = (test(title), findings(title));
    assert!(report::html(&input(&test, &findings)).contains("INVENTED DATA"));
    findings.invented = false;
    assert!(!report::html(&input(&test, &findings)).contains("INVENTED DATA"));
}

#[test]
fn nothing_is_loaded_from_elsewhere() {
    let page = page("t");
    for loader in [
        "src=\"http",
        "href=\"http",
        "url(http",
        "@import",
        "<script",
        "<link",
        "<iframe",
    ] {
        assert!(!page.contains(loader), "{loader}");
    }
    // The one address is the name of the SVG namespace, which nobody fetches.
    for (at, _) in page.match_indices("http") {
        let address = &page[at..];
        assert!(
            address.starts_with("http://www.w3.org/2000/svg\""),
            "{}",
            &address[..40]
        );
    }
}

#[test]
fn the_same_input_gives_the_same_bytes() {
    assert!(page("t") == page("t"));
}

#[test]
fn what_cannot_be_told_comes_with_a_remedy() {
    let page = page("t");
    let found = findings("t");
    for open in &found.cannot_tell {
        // The first letter may have become a capital.
        for text in [&open.question, &open.reason, &open.remedy] {
            assert!(page.contains(&text[1..]), "{text}");
        }
    }
    assert!(page.contains("bsolute density is refused for scan s2"));
}

#[test]
fn flags_are_explained_by_their_sentence() {
    let page = page("t");
    for flag in [
        Flag::FactorWithReciprocity,
        Flag::EndOfBracket,
        Flag::Lossy,
        Flag::Blank,
    ] {
        let mut sentence = flag.meaning().to_owned();
        sentence.remove(0);
        assert!(page.contains(&sentence), "{sentence}");
    }
}

#[test]
fn a_patch_has_its_letter_in_picture_table_and_figure() {
    let (test, found) = (test("t"), findings("t"));
    let letters = figures::PatchLetters::of(&found);
    assert_eq!(letters.letter(&id("shadow")), "A");
    assert_eq!(letters.letter(&id("rebate")), "b+f");
    let page = report::html(&input(&test, &found));
    assert!(page.contains("A shadow · B leaves-shade (shaded foliage)"));
    assert!(page.contains("<td>A</td><td class=\"word\"><bdi>shadow</bdi></td>"));
}

#[test]
fn a_report_without_pictures_and_answers_still_stands() {
    let (test, mut found) = (test("t"), findings("t"));
    found.factors.clear();
    found.speeds.clear();
    found.curves.clear();
    found.wood_effect.clear();
    let mut input = input(&test, &found);
    input.pictures.clear();
    input.lifted_pictures.clear();
    input.scans.clear();
    let page = report::html(&input);
    assert!(page.contains("No EI and no filter factor can be told"));
    assert!(page.contains("There are no scans to show"));
}

#[test]
fn the_cautions_name_the_sun_filter_standard() {
    assert!(page("t").contains("ISO 12312-2"));
}

#[test]
fn a_long_list_of_readings_names_the_file_that_has_all() {
    let (test, mut found) = (test("t"), findings("t"));
    let one = found.readings[0].clone();
    found.readings = vec![one; 2001];
    let page = report::html(&input(&test, &found));
    assert!(page.contains("2001 readings, gross"));
    assert!(page.contains("Here stand the first 2000; all are in readings.csv."));
}

#[test]
fn the_lifted_row_says_what_is_white() {
    // Hand calculation: two stops are 0.602 in density.
    let page = page("t");
    assert!(page.contains("every density up to 0.60 is white"));
    assert!(page.contains("density 0.00 is white"));
}

#[test]
fn a_missing_flare_control_is_called_that() {
    assert!(page("t").contains("no flare control was exposed"));
}

#[test]
fn ends_of_an_ei_interval_are_rounded_outward() {
    let (test, mut found) = (test("t"), findings("t"));
    let ei = |v| quantity::ExposureIndex::from_arithmetic(v).unwrap();
    found.speeds[0].ei.low = ei(310.0);
    found.speeds[0].ei.high = ei(510.0);
    // 310 lies above 250 in the series of thirds, 510 below 640 and above 500.
    assert!(report::html(&input(&test, &found)).contains("250 to 640, "));
}

#[test]
fn the_red_end_is_told_or_said_to_be_a_ridge() {
    let (test, findings) = (test("t"), findings("t"));
    let mut input = input(&test, &findings);
    let tails = input.tails.clone();
    input.tails = vec![];
    let without = report::html(&input);
    assert!(!without.contains("Red end of the film"));
    let mut one = tails.first().cloned().unwrap();
    one.told_apart = false;
    input.tails = vec![one.clone()];
    let ridge = report::html(&input);
    assert!(ridge.contains("One filter gives a ridge"));
    assert!(ridge.contains("can't be told apart"));
    one.told_apart = true;
    input.tails = vec![one];
    let told = report::html(&input);
    assert!(told.contains("half of the sensitivity is left at") && !told.contains("ridge"));
    assert!(told.contains("What other filters would give"));
}

#[test]
fn every_check_of_every_scan_is_told_with_how_it_ended() {
    let (test, findings) = (test("t"), findings("t"));
    let input = input(&test, &findings);
    let page = report::html(&input);
    let table = page.split("<details class=\"checks\">").nth(1).unwrap();
    let table = table.split("</details>").next().unwrap();
    // Counted by hand in the fixture: 3 checks, 2 scans, 1 finding, 2 that could not look.
    assert!(
        table.contains("<summary>3 honesty checks of 2 scans: 1 finding, 2 times a check could not look</summary>"),
        "{table}"
    );
    let rows: Vec<&str> = table.split("<tr>").skip(2).collect();
    for scan in &input.scans {
        for told in &scan.checks {
            let holds = |row: &&&str| {
                let lower = row.to_lowercase();
                lower.contains(&format!(">{}</th>", told.check))
                    && lower.contains(told.words)
                    && lower.contains(&told.evidence.to_lowercase())
                    && (row.contains("all 2") || row.contains(scan.scan.as_str()))
            };
            assert_eq!(
                rows.iter().filter(holds).count(),
                1,
                "{} {told:?}",
                scan.scan
            );
        }
    }
    assert!(
        rows.iter()
            .any(|r| r.contains("Densities are less certain"))
    );
}
