//! Scans that belong to no frame, and scans given to another frame.

mod common;

use axum::http::StatusCode;
use common::{Pages, asked, ended, form, sent};
use serde_json::{Value, json};

/// The views of the light table, laid out: scan, frame and names of its patches.
async fn views(pages: &Pages) -> Vec<(String, String, Vec<String>)> {
    let laying = pages.send(common::get("/tests/1/negatives")).await;
    if let Some(to) = laying.headers().get("location") {
        ended(pages, to.to_str().unwrap_or_default()).await;
    }
    let (_, text) = pages.get("/tests/1/negatives").await;
    let json = text
        .split_once("data-views=\"")
        .and_then(|(_, rest)| rest.split_once('"'))
        .map(|(json, _)| json.replace("&quot;", "\"").replace("&amp;", "&"))
        .unwrap_or_default();
    let table: Value = serde_json::from_str(&json).unwrap_or_default();
    let word = |v: &Value, key: &str| v[key].as_str().unwrap_or_default().to_owned();
    table["views"]
        .as_array()
        .into_iter()
        .flatten()
        .map(|view| {
            let outlines = view["outlines"].as_array().into_iter().flatten();
            let names = outlines.map(|o| word(o, "patch")).filter(|n| !n.is_empty());
            (word(view, "scan"), word(view, "frame"), names.collect())
        })
        .collect()
}

fn shows(views: &[(String, String, Vec<String>)], scan: &str) -> (String, Vec<String>) {
    let view = views.iter().find(|(of, _, _)| of == scan);
    view.map(|(_, frame, patches)| (frame.clone(), patches.clone()))
        .unwrap_or_default()
}

#[tokio::test(flavor = "multi_thread")]
async fn two_scans_change_frames_with_their_patches_and_an_orphan_is_given_one() {
    let pages = Pages::new();
    let click = pages
        .send(form("/tests/example", &format!("token={}", pages.token())))
        .await;
    ended(&pages, click.headers()["location"].to_str().unwrap()).await;
    let before = views(&pages).await;
    let (three, of_three) = shows(&before, "scan-sun-715-3");
    let (four, of_four) = shows(&before, "scan-sun-715-4");
    assert_eq!((three.as_str(), four.as_str()), ("sun-715-3", "sun-715-4"));
    assert!(!of_three.is_empty() && !of_four.is_empty());

    let path = "/api/tests/1/scans/scan-sun-715-3/frame";
    let given = |revision: u32, frame: &str| json!({"expected_revision": revision, "frame": frame});
    for (revision, frame, status) in [
        (1, "none-such", StatusCode::UNPROCESSABLE_ENTITY),
        (9, "sun-715-4", StatusCode::NOT_FOUND),
        (1, "sun-715-4", StatusCode::OK),
        // Another window has the state of before.
        (1, "sun-715-2", StatusCode::CONFLICT),
        (2, "sun-715-4", StatusCode::UNPROCESSABLE_ENTITY),
    ] {
        let (got, told) = sent(&pages, "PUT", path, &given(revision, frame)).await;
        assert_eq!(got, status, "{told}");
    }
    let after = views(&pages).await;
    assert_eq!(shows(&after, "scan-sun-715-3"), (four, of_three));
    assert_eq!(shows(&after, "scan-sun-715-4"), (three, of_four));
    let (_, history) = pages.get("/tests/1/history").await;
    assert!(
        history.contains(
            "scan-sun-715-3 given to frame sun-715-4, scan scan-sun-715-4 given to frame sun-715-3"
        ),
        "{history}"
    );
    // And back: all is as it was.
    let (status, told) = sent(&pages, "PUT", path, &given(2, "sun-715-3")).await;
    assert_eq!(status, StatusCode::OK, "{told}");
    assert_eq!(views(&pages).await, before);

    // A scan that no frame names is asked about, and is that frame's once it is told.
    let demo = pages.folder.path().join("demo");
    app::write_demo(&demo, &app::Silent).unwrap();
    let bytes = std::fs::read(demo.join("scans/sun-715-4.tif")).unwrap();
    let upload = "/api/tests/1/scans?expected_revision=3&name=IMG_0012.tif";
    let request = common::change(&pages, "POST", upload, bytes, "application/octet-stream");
    assert_eq!(pages.send(request).await.status(), StatusCode::CREATED);
    let with = views(&pages).await;
    assert_eq!(shows(&with, "IMG_0012"), (String::new(), vec![]));
    let (_, page) = pages.get("/tests/1/negatives").await;
    assert!(page.contains("Which frame does this scan show?"), "{page}");
    let fields = format!(
        "token={}&expected_revision=4&scan=IMG_0012&frame=sun-715-5",
        pages.token()
    );
    let answer = pages.send(form("/tests/1/given", &fields)).await;
    assert_eq!(answer.status(), StatusCode::SEE_OTHER);
    let with = views(&pages).await;
    assert_eq!(shows(&with, "IMG_0012"), ("sun-715-5".to_owned(), vec![]));
    let (_, records) = asked(&pages, "/api/tests/1/records").await;
    assert_eq!(records["problems"], json!([]));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_scan_follows_its_frame_to_a_new_name() {
    let pages = Pages::new();
    let test = common::begun(&pages).await;
    let records = format!("/api/tests/{test}/records");
    let row = |was: Value, cells: Value| json!([{"was": was, "cells": cells}]);
    let frame = |was: Value, id: &str| {
        row(
            was,
            json!({"id": id, "film": "film", "process": "process", "role": "unexposed"}),
        )
    };
    let rows = json!({"expected_revision": 1, "tables": {
        "film": row(Value::Null, json!({"id": "film", "name": "Testfilm A", "box_speed": "100"})),
        "process": row(Value::Null, json!({"id": "process", "developer": "invented"})),
        "frame": frame(Value::Null, "first"),
    }});
    let (status, told) = sent(&pages, "PUT", &records, &rows).await;
    assert_eq!(status, StatusCode::OK, "{told}");
    let upload = format!("/api/tests/{test}/scans?expected_revision=2&name=a.tif");
    let request = common::change(&pages, "POST", &upload, tiff(), "application/octet-stream");
    let (status, text) = common::read(pages.send(request).await).await;
    assert_eq!(status, StatusCode::CREATED, "{text}");
    let path = format!("/api/tests/{test}/scans/a/frame");
    let given = |revision: u32, frame: &str| json!({"expected_revision": revision, "frame": frame});
    let (status, told) = sent(&pages, "PUT", &path, &given(3, "first")).await;
    assert_eq!(status, StatusCode::OK, "{told}");
    let renamed = json!({"expected_revision": 4, "tables": {"frame": frame(json!(0), "second")}});
    let (status, told) = sent(&pages, "PUT", &records, &renamed).await;
    assert_eq!(status, StatusCode::OK, "{told}");
    assert_eq!(told["problems"], json!([]), "{told}");
    let (status, told) = sent(&pages, "PUT", &path, &given(5, "second")).await;
    assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY, "{told}");
    assert!(
        told["problem"]
            .as_str()
            .unwrap_or_default()
            .contains("already"),
        "{told}"
    );
}

/// An even grey of 64 x 64 px of 16 bits; the form by TIFF 6.0, section 3, from memory.
fn tiff() -> Vec<u8> {
    let mut file = b"II*\0\x08\0\0\0\x09\0".to_vec();
    for (tag, kind, value) in [
        (256_u16, 3_u16, 64_u32),
        (257, 3, 64),
        (258, 3, 16),
        (259, 3, 1),
        (262, 3, 1),
        (273, 4, 122),
        (277, 3, 1),
        (278, 3, 64),
        (279, 4, 8192),
    ] {
        file.extend(tag.to_le_bytes());
        file.extend(kind.to_le_bytes());
        file.extend(1_u32.to_le_bytes());
        file.extend(value.to_le_bytes());
    }
    file.extend([0; 4]);
    // Eight bytes of header, two of count, nine entries of twelve, four of the end.
    assert_eq!(file.len(), 122);
    file.extend([0, 128].repeat(4096));
    file
}
