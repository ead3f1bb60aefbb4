//! Step tablets found in scans, looked at, and kept.

#![expect(clippy::unwrap_used, reason = "helpers of tests")]

mod common;

use axum::http::StatusCode;
use common::{Pages, asked, begun, change, ended, read, sent};
use serde_json::{Value, json};

/// Where the invented tablet of the worked example lies: 21 steps of 32 px from left to
/// right, by the maker of the scans. Left, top, width and height of the whole.
const TABLET: [f64; 4] = [64.0, 582.0, 672.0, 34.0];

/// A test with an unexposed frame and two scans of the worked example; gives its number
/// and its revision.
async fn with_scans(pages: &Pages) -> (i64, i64) {
    let test = begun(pages).await;
    let row = |cells: Value| json!([{"was": null, "cells": cells}]);
    let rows = json!({"expected_revision": 1, "tables": {
        "film": row(json!({"id": "film", "name": "Testfilm A", "box_speed": "100"})),
        "process": row(json!({"id": "process", "developer": "invented"})),
        "frame": row(json!({"id": "unexposed", "film": "film", "process": "process", "role": "unexposed"})),
    }});
    let (status, saved) = sent(pages, "PUT", &format!("/api/tests/{test}/records"), &rows).await;
    assert_eq!(status, StatusCode::OK, "{saved}");
    assert_eq!(saved["problems"], json!([]), "{saved}");
    let demo = pages.folder.path().join("demo");
    app::write_demo(&demo, &app::Silent).unwrap();
    let mut revision = saved["revision"].as_i64().unwrap();
    for name in ["unexposed", "sun-anchor-2"] {
        let bytes = std::fs::read(demo.join(format!("scans/{name}.tif"))).unwrap();
        let path = format!("/api/tests/{test}/scans?expected_revision={revision}&name={name}.tif");
        let request = change(pages, "POST", &path, bytes, "application/octet-stream");
        let (status, text) = read(pages.send(request).await).await;
        assert_eq!(status, StatusCode::CREATED, "{text}");
        revision += 1;
    }
    (test, revision)
}

async fn looked_for(pages: &Pages, test: i64, tablet: &str) -> Value {
    let search = format!("/api/tests/{test}/tablet-search");
    let (status, job) = sent(pages, "POST", &search, &json!({"tablet": tablet})).await;
    assert_eq!(status, StatusCode::ACCEPTED, "{job}");
    let page = ended(pages, &format!("/jobs/{}", job["job"])).await;
    assert_eq!(page, format!("/tests/{test}/negatives"));
    asked(pages, &search).await.1
}

#[tokio::test(flavor = "multi_thread")]
async fn a_tablet_is_found_looked_at_and_kept_only_then() {
    let pages = Pages::new();
    let (test, revision) = with_scans(&pages).await;
    let (_, before) = asked(&pages, &format!("/api/tests/{test}/tablet-search")).await;
    assert_eq!(before["found"], json!([]));
    assert_eq!(before["uncalibrated"], json!(["unexposed", "sun-anchor-2"]));
    // Of another number of steps it is not: what lies there has 21.
    let wrong = looked_for(&pages, test, "nominal-31").await;
    assert_eq!(wrong["found"], json!([]), "{wrong}");
    let why = wrong["missing"][0]["problem"].as_str().unwrap();
    assert!(why.contains("strip") && !why.contains("scans/"), "{why}");

    let right = looked_for(&pages, test, "nominal-21").await;
    assert_eq!(right["found"].as_array().unwrap().len(), 2, "{right}");
    let found = &right["found"][0];
    assert!(
        found["words"]
            .as_str()
            .unwrap()
            .contains("21 steps running right")
    );
    let [left, top, width, height] = TABLET;
    for (place, step) in found["steps"].as_array().unwrap().iter().enumerate() {
        let from = left + width / 21.0 * place as f64;
        for corner in step["outline_px"].as_array().unwrap() {
            let (x, y) = (corner[0].as_f64().unwrap(), corner[1].as_f64().unwrap());
            assert!(
                (from..from + width / 21.0).contains(&x),
                "step {place}: {x}"
            );
            assert!((top..top + height).contains(&y), "step {place}: {y}");
        }
    }
    let picture = pages
        .send(common::get(found["picture"].as_str().unwrap()))
        .await;
    assert_eq!(picture.headers()["content-type"], "image/png");
    // The page shows it, and the record knows nothing of it yet.
    let (_, page) = pages.get(&format!("/tests/{test}/tablet")).await;
    assert!(page.contains("found in 2 scans"), "{page}");
    assert!(page.contains("Keep those that are ticked"), "{page}");
    let (_, records) = asked(&pages, &format!("/api/tests/{test}/records")).await;
    assert_eq!(records["revision"], revision);
    assert_eq!(records["tables"]["tablet"], json!([]));

    let keep = format!("/api/tests/{test}/tablets-found");
    let confirmed = |revision: i64, scans: &[&str]| json!({"expected_revision": revision, "scans": scans, "calibrates_others": true});
    let (status, told) = sent(
        &pages,
        "POST",
        &keep,
        &confirmed(revision - 1, &["unexposed"]),
    )
    .await;
    assert_eq!(status, StatusCode::CONFLICT, "{told}");
    let (status, told) = sent(&pages, "POST", &keep, &confirmed(revision, &[])).await;
    assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY, "{told}");
    let (status, told) = sent(&pages, "POST", &keep, &confirmed(revision, &["unexposed"])).await;
    assert_eq!(status, StatusCode::CREATED, "{told}");
    let (_, after) = asked(&pages, &format!("/api/tests/{test}/tablet-search")).await;
    // The other scan has a tablet of its own, which still waits to be looked at.
    assert_eq!(after["uncalibrated"], json!(["sun-anchor-2"]));
    assert_eq!(after["found"][0]["scan"], "sun-anchor-2", "{after}");
    let tiles = format!("/api/tests/{test}/scans/unexposed/tiles");
    let (_, tiles) = asked(&pages, &tiles).await;
    assert_eq!(tiles["calibrated"], true, "{tiles}");
    let (_, history) = pages.get(&format!("/tests/{test}/history")).await;
    assert!(history.contains("looked at and confirmed"), "{history}");
    // Kept once, it does not wait any more.
    let again = confirmed(revision + 1, &["unexposed"]);
    let (status, _) = sent(&pages, "POST", &keep, &again).await;
    assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_tablet_that_nobody_knows_is_not_looked_for() {
    let pages = Pages::new();
    let test = begun(&pages).await;
    let search = format!("/api/tests/{test}/tablet-search");
    for tablet in ["nominal-12", "../21", "21"] {
        let (status, told) = sent(&pages, "POST", &search, &json!({"tablet": tablet})).await;
        assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY, "{told}");
    }
    let (status, _) = sent(
        &pages,
        "POST",
        "/api/tests/99/tablet-search",
        &json!({"tablet": "all-recorded"}),
    )
    .await;
    assert_eq!(status, StatusCode::NOT_FOUND);
    let (status, _) = asked(&pages, &format!("/api/tests/{test}/scans/none/tablet.png")).await;
    assert_eq!(status, StatusCode::NOT_FOUND);
}
