//! What has to be mended is told in the words of the page it is mended on.

mod common;

use axum::http::StatusCode;
use common::{Pages, asked, begun, form, read, sent};
use serde_json::json;

/// A record with one frame that lacks its development and has a word for its EI.
async fn faulty(pages: &Pages) -> (i64, serde_json::Value) {
    let test = begun(pages).await;
    let tables = json!({
        "film": [{ "was": null, "cells": { "id": "film", "name": "Testfilm A", "format": "4x5" } }],
        "frame": [{ "was": null, "cells": { "id": "one", "role": "anchor", "film": "film", "ei": "fast" } }],
    });
    let (_, read) = asked(pages, &format!("/api/tests/{test}/records")).await;
    let (status, saved) = sent(
        pages,
        "PUT",
        &format!("/api/tests/{test}/records"),
        &json!({ "expected_revision": read["revision"], "tables": tables }),
    )
    .await;
    assert_eq!(status, StatusCode::OK, "{saved}");
    (test, saved)
}

#[tokio::test]
async fn a_fault_is_told_by_table_row_and_column_and_not_by_a_line_of_a_file() {
    let pages = Pages::new();
    let (test, saved) = faulty(&pages).await;
    let (status, page) = pages.get(&format!("/tests/{test}/exposures")).await;
    assert_eq!(status, StatusCode::OK);
    let told = page
        .split_once("data-told")
        .and_then(|(_, rest)| rest.split_once("</div>"))
        .map(|(told, _)| told)
        .unwrap();
    // The heads of the two columns as the page has them.
    for words in [
        "Frames, row 1 (one), Process: nothing is written there.",
        "Frames, row 1 (one), EI: \"fast\" is written there",
    ] {
        let words = words
            .replace('"', "&quot;")
            .trim_end_matches('.')
            .to_owned();
        assert!(told.contains(&words), "{words}\n{told}");
    }
    for foreign in ["test.toml", "line ", "[[", "`", "add the key"] {
        assert!(!told.contains(foreign), "{foreign:?} in {told}");
    }
    let cells: Vec<_> = saved["faults"]
        .as_array()
        .unwrap()
        .iter()
        .map(|f| (&f["table"], &f["row"], &f["key"]))
        .collect();
    assert!(
        cells.contains(&(&json!("frame"), &json!(0), &json!("process"))),
        "{cells:?}"
    );
    assert!(
        cells.contains(&(&json!("frame"), &json!(0), &json!("ei"))),
        "{cells:?}"
    );
}

/// A record whose one frame has this in a cell; gives the answer to saving it.
async fn framed(pages: &Pages, key: &str, typed: &str) -> serde_json::Value {
    let test = begun(pages).await;
    let mut frame = json!({
        "id": "one", "role": "anchor", "film": "pan", "light": "noon", "process": "pyro",
        "ei": "100", "aperture_f": "22", "time_marked_s": "1/30",
    });
    frame[key] = json!(typed);
    let tables = json!({
        "film": [
            { "was": null, "cells": { "id": "pan", "name": "Testfilm Pan 100", "format": "4x5" } },
            { "was": null, "cells": { "id": "ortho", "name": "Testfilm Ortho", "format": "4x5" } },
        ],
        "light": [{ "was": null, "cells": { "id": "noon", "sky": "clear_sun", "ev100": "15", "meter.mode": "incident" } }],
        "process": [{ "was": null, "cells": { "id": "pyro", "developer": "D" } }],
        "frame": [{ "was": null, "cells": frame }],
    });
    let (_, before) = asked(pages, &format!("/api/tests/{test}/records")).await;
    let (status, saved) = sent(
        pages,
        "PUT",
        &format!("/api/tests/{test}/records"),
        &json!({ "expected_revision": before["revision"], "tables": tables }),
    )
    .await;
    assert_eq!(status, StatusCode::OK, "{saved}");
    saved
}

#[tokio::test]
async fn a_full_name_in_place_of_a_short_one_is_told_with_the_short_names_there_are() {
    let pages = Pages::new();
    let saved = framed(&pages, "film", "Testfilm pan 100").await;
    let told = saved["faults"][0]["problem"].as_str().unwrap();
    assert_eq!(saved["faults"][0]["key"], "film");
    for words in [
        "a short name from the table of films: pan, ortho",
        "This is the full name of pan",
    ] {
        assert!(told.contains(words), "{told}");
    }
    // Nobody's full name, and of a kind that has no record.
    let saved = framed(&pages, "film", "my film").await;
    let told = saved["faults"][0]["problem"].as_str().unwrap();
    assert!(
        told.contains("pan, ortho") && !told.contains("full name"),
        "{told}"
    );
    let saved = framed(&pages, "lens", "150 mm").await;
    let told = saved["faults"][0]["problem"].as_str().unwrap();
    assert!(
        told.contains("the table of lenses, where none stands yet"),
        "{told}"
    );
    let saved = framed(&pages, "filters", "yellow 8+red 25").await;
    assert_eq!(saved["faults"][0]["key"], "filters");
    // A fault of another kind in such a cell is told as it is.
    let saved = framed(&pages, "tablet", "t").await;
    assert!(!saved["problems"].to_string().contains("where none stands"));
    let saved = framed(&pages, "film", "pan400").await;
    let told = saved["faults"][0]["problem"].as_str().unwrap();
    assert_eq!(told.matches("ortho").count(), 1, "{told}");
}

#[tokio::test]
async fn an_aperture_may_be_typed_with_its_sign() {
    let pages = Pages::new();
    for typed in ["f/22", "f22", "F/22", "22"] {
        let saved = framed(&pages, "aperture_f", typed).await;
        assert_eq!(saved["problems"], json!([]), "{typed}: {saved}");
        assert_eq!(
            saved["tables"]["frame"][0]["cells"]["aperture_f"], "22",
            "{typed}"
        );
    }
    let saved = framed(&pages, "aperture_f", "f/wide").await;
    let told = saved["faults"][0]["problem"].as_str().unwrap();
    assert!(told.contains("f/wide"), "{told}");
}

#[tokio::test]
async fn without_patches_the_way_to_the_light_table_is_shown_in_place_of_a_path() {
    let pages = Pages::new();
    let test = begun(&pages).await;
    let tables = json!({
        "film": [{ "was": null, "cells": { "id": "film", "name": "Testfilm A", "format": "4x5" } }],
        "process": [{ "was": null, "cells": { "id": "process", "developer": "D" } }],
        "frame": [{ "was": null, "cells": { "id": "one", "role": "unexposed", "film": "film", "process": "process" } }],
    });
    let (_, before) = asked(&pages, &format!("/api/tests/{test}/records")).await;
    let (status, saved) = sent(
        &pages,
        "PUT",
        &format!("/api/tests/{test}/records"),
        &json!({ "expected_revision": before["revision"], "tables": tables }),
    )
    .await;
    assert_eq!(
        (status, &saved["problems"]),
        (StatusCode::OK, &json!([])),
        "{saved}"
    );
    let fields = format!("token={}&to=", pages.token());
    let asked = form(&format!("/tests/{test}/evaluate"), &fields);
    let (status, page) = read(pages.send(asked).await).await;
    assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY, "{page}");
    assert!(
        page.contains(&format!("href=\"/tests/{test}/negatives\"")),
        "{page}"
    );
    assert!(
        !page.contains(".work") && !page.contains("patches.csv"),
        "{page}"
    );
}

#[tokio::test]
async fn pages_beside_the_steps_have_titles_of_their_own() {
    let pages = Pages::new();
    let test = begun(&pages).await;
    let (_, page) = pages.get(&format!("/tests/{test}/history")).await;
    assert!(
        page.contains("<title>What was changed: T</title>"),
        "{page}"
    );
}
