//! The list of tests, what is found in it, and what a test can be compared with.

#![expect(clippy::unwrap_used, reason = "a test program")]

mod common;

use app::{Check, Notebook, ScanPlace, Silent};
use axum::http::StatusCode;
use common::Pages;
use std::path::Path;

/// Pages over a notebook with begun tests, the last changed one named last.
fn with_tests(number: u32) -> Pages {
    let pages = Pages::new();
    let kept = Notebook::open(&pages.folder.path().join("notebook.sqlite"), Check::Quick).unwrap();
    for number in 1..=number {
        kept.begin_test(&format!("Meadow {number}."), "A. Tester")
            .unwrap();
    }
    pages
}

#[tokio::test(flavor = "multi_thread")]
async fn a_search_says_how_many_it_found_and_that_it_shows_the_best_hundred() {
    let pages = with_tests(103);
    let (status, text) = pages.get("/?words=meadow").await;
    assert_eq!(status, StatusCode::OK);
    assert!(text.contains("103 tests have these words; the 100 that fit best are shown"));
    assert_eq!(text.matches("/exposures\">").count(), 100);
    let (_, text) = pages.get("/?words=meadow+17").await;
    assert!(text.contains("One test has these words."), "{text}");
    let (_, text) = pages.get("/?words=unheard").await;
    assert!(text.contains("No test has these words."));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_long_list_has_pages_and_leaves_no_test_out() {
    let pages = with_tests(203);
    let (_, first) = pages.get("/").await;
    assert!(first.contains("Tests 1 to 200 of 203, last changed first"));
    assert!(first.contains("Meadow 203.") && !first.contains("Meadow 3."));
    let (_, second) = pages.get("/?after=200").await;
    assert!(second.contains("Tests 201 to 203 of 203"));
    for number in 1..=203 {
        let title = format!("Meadow {number}.");
        let on = u8::from(first.contains(&title)) + u8::from(second.contains(&title));
        assert_eq!(on, 1, "{title} stands on one of the pages");
    }
    let (status, beyond) = pages.get("/?after=4000000000").await;
    assert_eq!(status, StatusCode::OK);
    assert!(beyond.contains("No test is that old."));
}

/// A folder with one reading, so that it counts as measured.
fn small_test(folder: &Path, film: &str) {
    std::fs::create_dir_all(folder).unwrap();
    let record = format!(
        "format = 1\ntitle = \"Small\"\n\n[[film]]\nid = \"f\"\nname = \"{film}\"\n\n[[process]]\nid = \"p\"\ndeveloper = \"D\"\n\n\
         [[light]]\nid = \"l\"\nsky = \"clear_sun\"\nev100 = 15\n\n[[frame]]\nid = \"1\"\nfilm = \"f\"\nprocess = \"p\"\n\
         role = \"anchor\"\nlight = \"l\"\naperture_f = 16\ntime_marked_s = 0.01\n"
    );
    std::fs::write(folder.join("test.toml"), record).unwrap();
    std::fs::write(
        folder.join("patches.csv"),
        "frame,patch,role\n1,card,grey_card\n",
    )
    .unwrap();
    std::fs::write(
        folder.join("readings.csv"),
        "frame,patch,density,density_sd\n1,card,0.8,0.02\n",
    )
    .unwrap();
}

#[tokio::test(flavor = "multi_thread")]
async fn a_test_is_compared_with_what_is_near_or_found_by_words() {
    let pages = Pages::new();
    let kept = Notebook::open(&pages.folder.path().join("notebook.sqlite"), Check::Quick).unwrap();
    kept.add_demo("A. Tester", &Silent).unwrap();
    kept.evaluate_for_pages(app::TestId::new(1), None, &Silent)
        .unwrap();
    let film = kept.overview(app::TestId::new(1)).unwrap().films[0].clone();
    for number in 0..14 {
        let name = if number < 13 { &film } else { "another" };
        let folder = pages.folder.path().join(format!("folder {number}"));
        small_test(&folder, name);
        kept.import_folder(&folder, ScanPlace::TakenIn, "A. Tester", &Silent)
            .unwrap();
    }
    let (_, text) = pages.get("/tests/1/findings").await;
    assert!(
        text.contains("12 of 14 other tests with readings"),
        "the nearest are offered"
    );
    assert_eq!(text.matches("type=\"checkbox\" name=\"with\"").count(), 12);
    let (_, text) = pages.get("/tests/1/findings?with=unheard").await;
    assert!(text.contains("No other test with readings has these words."));
    let (_, text) = pages.get("/tests/1/findings?with=another").await;
    assert!(text.contains("One other test with readings has these words."));
    assert_eq!(text.matches("type=\"checkbox\" name=\"with\"").count(), 1);
}
