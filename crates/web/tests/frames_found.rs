//! Frames found in scans: shown as they were found, and the rebate kept only when asked.

#![expect(clippy::unwrap_used, reason = "helpers of tests")]

mod common;

use axum::http::StatusCode;
use common::{Pages, asked, begun, change, ended, form, read, sent};
use serde_json::{Value, json};

/// The picture and the rebate of the worked example's sheets, by the maker of the scans:
/// width and height of the picture, width of the rebate. \[px\]
const PICTURE: [f64; 2] = [640.0, 512.0];
const REBATE: f64 = 14.0;
/// Its patch of clear film lies this far from the sheet's left and upper edge. \[px\]
const CLEAR_FILM: [f64; 2] = [260.0, 529.0];

/// A test with two frames and their scans of the worked example; gives its number, its
/// revision, and where the sheet of the exposed one lies in its scan.
async fn with_scans(pages: &Pages) -> (i64, i64, [f64; 2]) {
    let test = begun(pages).await;
    let row = |cells: Value| json!({"was": null, "cells": cells});
    let frame = |id: &str, role: &str| {
        row(json!({"id": id, "film": "film", "process": "process", "role": role}))
    };
    let rows = json!({"expected_revision": 1, "tables": {
        "film": [row(json!({"id": "film", "name": "Testfilm A", "box_speed": "100"}))],
        "process": [row(json!({"id": "process", "developer": "invented"}))],
        "frame": [frame("sun-anchor-2", "unexposed"), frame("unexposed", "unexposed")],
    }});
    let (status, saved) = sent(pages, "PUT", &format!("/api/tests/{test}/records"), &rows).await;
    assert_eq!(status, StatusCode::OK, "{saved}");
    let demo = pages.folder.path().join("demo");
    app::write_demo(&demo, &app::Silent).unwrap();
    let mut revision = saved["revision"].as_i64().unwrap();
    for name in ["sun-anchor-2", "unexposed"] {
        let bytes = std::fs::read(demo.join(format!("scans/{name}.tif"))).unwrap();
        let path = format!("/api/tests/{test}/scans?expected_revision={revision}&name={name}.tif");
        let request = change(pages, "POST", &path, bytes, "application/octet-stream");
        let (status, text) = read(pages.send(request).await).await;
        assert_eq!(status, StatusCode::CREATED, "{text}");
        revision += 1;
    }
    let patches = std::fs::read_to_string(demo.join("patches.csv")).unwrap();
    let mut lines = patches.lines().filter(|line| !line.starts_with('#'));
    let columns: Vec<&str> = lines.next().unwrap().split(',').collect();
    let place = |name: &str| columns.iter().position(|column| *column == name).unwrap();
    let clear: Vec<&str> = lines
        .map(|line| line.split(',').collect())
        .find(|cells: &Vec<&str>| {
            cells[place("frame")] == "sun-anchor-2" && cells[place("patch")] == "base-fog"
        })
        .unwrap();
    let number = |name: &str| clear[place(name)].parse::<f64>().unwrap();
    let sheet = [
        number("x_px") - CLEAR_FILM[0],
        number("y_px") - CLEAR_FILM[1],
    ];
    (test, revision, sheet)
}

fn points(list: &Value) -> Vec<[f64; 2]> {
    let list = list.as_array().into_iter().flatten();
    list.map(|p| [p[0].as_f64().unwrap(), p[1].as_f64().unwrap()])
        .collect()
}

/// The views of the page, once the light table is laid, and the page.
async fn views(pages: &Pages, test: i64) -> (Vec<Value>, String) {
    let path = format!("/tests/{test}/negatives");
    let laying = pages.send(common::get(&path)).await;
    if let Some(to) = laying.headers().get("location") {
        ended(pages, to.to_str().unwrap()).await;
    }
    let (_, page) = pages.get(&path).await;
    let (_, rest) = page.split_once("data-views=\"").unwrap();
    let (json, _) = rest.split_once('"').unwrap();
    let json = json.replace("&quot;", "\"").replace("&amp;", "&");
    let table: Value = serde_json::from_str(&json).unwrap();
    (table["views"].as_array().unwrap().clone(), page)
}

#[tokio::test(flavor = "multi_thread")]
async fn a_frame_is_shown_where_it_lies_and_its_rebate_kept_only_when_asked() {
    let pages = Pages::new();
    let (test, revision, [left, top]) = with_scans(&pages).await;
    let of = |scan: &str| format!("/api/tests/{test}/scans/{scan}/frame-found");
    let (status, found) = asked(&pages, &of("sun-anchor-2")).await;
    assert_eq!(status, StatusCode::OK, "{found}");
    assert_eq!(found["found"], true, "{found}");
    let [width, height] = PICTURE;
    let (l, t) = (left + REBATE, top + REBATE);
    let truth = [
        [l, t],
        [l + width, t],
        [l + width, t + height],
        [l, t + height],
    ];
    for (corner, truth) in points(&found["corners_px"]).iter().zip(truth) {
        // The scan is not reduced, and its edges are sharp.
        let off = (corner[0] - truth[0]).hypot(corner[1] - truth[1]);
        assert!(off < 0.5, "{off:.2} px: {found}");
    }
    assert!(found["tilt_deg"].as_f64().unwrap().abs() < 0.05, "{found}");
    for side in found["sides"].as_array().unwrap() {
        let wide = side["rebate_width_px"].as_f64().unwrap();
        assert!((wide - REBATE).abs() < 2.0, "{side}");
    }
    let (status, blank) = asked(&pages, &of("unexposed")).await;
    assert_eq!((status, &blank["found"]), (StatusCode::OK, &json!(false)));
    assert!(!blank["reason"].as_str().unwrap().is_empty());

    // The page has the same; nothing is drawn where nothing was found.
    let (before, page) = views(&pages, test).await;
    assert_eq!(before[0]["frame_found"], found);
    assert_eq!(before[1]["frame_found"], blank);
    assert_eq!(before[0]["outlines"], json!([]));
    for words in ["As found:", "Frame not found: why", "edge of the picture"] {
        assert_eq!(page.matches(words).count(), 1, "{words}");
    }
    assert_eq!(page.matches("Keep as the rebate").count(), 1);

    let path = format!("/api/tests/{test}/rebates-found");
    let kept = |revision: i64, scan: &str| json!({"expected_revision": revision, "scan": scan});
    for (revision, scan, status) in [
        (revision - 1, "sun-anchor-2", StatusCode::CONFLICT),
        (revision, "unexposed", StatusCode::UNPROCESSABLE_ENTITY),
        (revision, "none-such", StatusCode::UNPROCESSABLE_ENTITY),
    ] {
        let (got, told) = sent(&pages, "POST", &path, &kept(revision, scan)).await;
        assert_eq!(got, status, "{scan}: {told}");
    }
    let fields = format!(
        "token={}&expected_revision={revision}&scan=sun-anchor-2",
        pages.token()
    );
    let answer = pages
        .send(form(&format!("/tests/{test}/rebate/keep"), &fields))
        .await;
    assert_eq!(answer.status(), StatusCode::SEE_OTHER);
    let (after, page) = views(&pages, test).await;
    let outline = &after[0]["outlines"][0];
    assert_eq!(outline["kind"], "base_fog", "{after:?}");
    let corners = points(&outline["corners_px"]);
    assert_eq!(corners.len(), 4);
    for [x, y] in corners {
        // On the sheet and off the picture.
        let beside = |v: f64, from: f64, long: f64| v > from && v < from + long + 2.0 * REBATE;
        let within = |v: f64, from: f64, long: f64| v > from + REBATE && v < from + REBATE + long;
        assert!(beside(x, left, width) && beside(y, top, height), "{x} {y}");
        assert!(
            !(within(x, left, width) && within(y, top, height)),
            "{x} {y}"
        );
    }
    assert_eq!(page.matches("Keep as the rebate").count(), 0);
    let (_, history) = pages.get(&format!("/tests/{test}/history")).await;
    assert!(history.contains("looked at and kept"), "{history}");
    // Kept once, clear film of the frame is outlined.
    let (status, told) = sent(&pages, "POST", &path, &kept(revision + 1, "sun-anchor-2")).await;
    assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY, "{told}");
    let (_, records) = asked(&pages, &format!("/api/tests/{test}/records")).await;
    assert_eq!(records["problems"], json!([]));
}
