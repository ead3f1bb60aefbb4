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
