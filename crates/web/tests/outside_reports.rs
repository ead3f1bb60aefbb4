//! What other people say, typed in and held against the fitted curve.

mod common;

use axum::http::StatusCode;
use common::{Pages, asked, ended, form, get, sent};
use serde_json::json;

#[tokio::test(flavor = "multi_thread")]
async fn reports_are_typed_in_edited_and_held_against_the_curve() {
    let pages = Pages::new();
    let click = pages
        .send(form("/tests/example", &format!("token={}", pages.token())))
        .await;
    let job = click.headers()["location"].to_str().unwrap().to_owned();
    ended(&pages, &job).await;
    let (_, before) = asked(&pages, "/api/tests/1/records").await;
    let film = before["tables"]["film"][0]["cells"]["name"].clone();
    let filter = before["tables"]["filter"][0]["cells"]["name"].clone();
    let report = |name: &str, ei: &str, seen: &str| {
        json!({"was": null, "cells": {
            "id": name, "film": film, "filter": filter, "ei": ei, "seen": seen, "source": "invented",
        }})
    };
    let rows = json!([
        report("near", "3", "Image"),
        report("far", "12000", "printable")
    ]);
    let (status, saved) = sent(
        &pages,
        "PUT",
        "/api/tests/1/records",
        &json!({"expected_revision": before["revision"], "tables": {"outside_report": rows}}),
    )
    .await;
    assert_eq!(status, StatusCode::OK, "{saved}");
    assert_eq!(saved["problems"], json!([]));
    assert_eq!(
        saved["tables"]["outside_report"][0]["cells"]["seen"],
        "image"
    );
    assert_eq!(
        saved["tables"]["frame"], before["tables"]["frame"],
        "the other records stay as they are"
    );
    let (_, findings) = pages.get("/tests/1/findings").await;
    assert!(findings.contains("value=\"near\"") && findings.contains("value=\"far\""));
    let (_, exposures) = pages.get("/tests/1/exposures").await;
    assert!(!exposures.contains("data-table=\"outside_report\""));
    let begun = pages.send(get("/tests/1/compare")).await;
    let job = begun.headers()["location"].to_str().unwrap().to_owned();
    let compared = ended(&pages, &job).await;
    let (status, text) = pages.get(&compared).await;
    assert_eq!(status, StatusCode::OK);
    // A card set at EI 12000 behind a filter of several stops lies in the toe: no printable negative.
    assert!(text.contains("<b>far: contradictory. </b>"), "{text}");
    assert!(text.contains("<b>near: "), "{text}");
}
