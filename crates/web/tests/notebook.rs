//! The pages and the API over a notebook: the worked example's path, conflicts,
//! and what is sent from outside.

mod common;

use axum::http::StatusCode;
use common::{Pages, asked, begun, change, ended, form, read, sent};
use serde_json::{Value, json};
use std::time::Duration;

#[tokio::test(flavor = "multi_thread")]
async fn the_worked_example_goes_from_one_click_to_its_report() {
    let pages = Pages::new();
    let (status, text) = pages.get("/").await;
    assert_eq!(status, StatusCode::OK);
    assert!(
        text.contains("This notebook has no test yet"),
        "an empty state teaches"
    );
    let click = pages
        .send(form("/tests/example", &format!("token={}", pages.token())))
        .await;
    assert_eq!(click.status(), StatusCode::SEE_OTHER);
    let job = click.headers()["location"].to_str().unwrap().to_owned();
    let findings = ended(&pages, &job).await;
    assert_eq!(findings, "/tests/1/findings");
    for (page, says) in [
        ("findings", "INVENTED DATA"),
        ("findings", "class=\"ei\""),
        ("curves", "data-curve="),
        ("report", "<iframe"),
        ("report.html", "Film test report"),
        ("exposures", "sun-715-4"),
        ("history", "The worked example"),
        ("spectra", "stops more"),
        ("plan", "no plan"),
    ] {
        let (status, text) = pages.get(&format!("/tests/1/{page}")).await;
        assert_eq!(status, StatusCode::OK, "{page}");
        assert!(text.contains(says), "{page} does not say {says:?}");
        if page != "report.html" {
            assert!(!text.contains(" style=\""), "{page} has an inline style");
        }
    }
    let report = pages.send(common::get("/tests/1/report.html")).await;
    let policy = report.headers()["content-security-policy"]
        .to_str()
        .unwrap();
    assert!(
        !policy.contains("script-src") && policy.starts_with("default-src 'none'"),
        "{policy}"
    );
    // The light table is laid out as work of its own, then shown.
    let laying = pages.send(common::get("/tests/1/negatives")).await;
    let to = laying.headers()["location"].to_str().unwrap().to_owned();
    assert_eq!(ended(&pages, &to).await, "/tests/1/negatives");
    let (status, text) = pages.get("/tests/1/negatives").await;
    assert_eq!(status, StatusCode::OK);
    assert!(text.contains("data-light-table"));
    // An outline on one frame goes to the others of its subject, and is confirmed there.
    let outline = json!({
        "expected_revision": 1, "frame": "sun-715-4", "patch": "wall-2", "role": "wall",
        "scan": "scan-sun-715-4", "x_px": 470, "y_px": 315, "width_px": 40, "height_px": 24, "carry": true,
    });
    let (status, told) = sent(&pages, "POST", "/api/tests/1/patches", &outline).await;
    assert_eq!(status, StatusCode::CREATED, "{told}");
    let laying = pages.send(common::get("/tests/1/negatives")).await;
    let to = laying.headers()["location"].to_str().unwrap().to_owned();
    ended(&pages, &to).await;
    let (_, text) = pages.get("/tests/1/negatives").await;
    assert!(text.contains("carried: look at the dashed outlines"));
    let token = pages.token();
    let fields = format!("token={token}&expected_revision=2&frame=sun-anchor-2&way=confirm");
    let answer = pages.send(form("/tests/1/carried", &fields)).await;
    assert_eq!(answer.status(), StatusCode::SEE_OTHER);
    let (_, text) = pages.get("/tests/1/history").await;
    assert!(text.contains("looked at and confirmed"), "{text}");
    // Of a revision whose light table was not looked at nothing can be confirmed.
    let fields = format!("token={token}&expected_revision=3&frame=sun-715-5&way=drop");
    let again = pages.send(form("/tests/1/carried", &fields)).await;
    assert_eq!(again.status(), StatusCode::UNPROCESSABLE_ENTITY);
    let (status, text) = pages.get("/tests/1/findings").await;
    assert_eq!(status, StatusCode::OK);
    assert!(text.contains("changed since this was worked out"), "{text}");
    let (status, tiles) = asked(&pages, "/api/tests/1/scans/scan-sun-715-4/tiles").await;
    assert_eq!(status, StatusCode::OK, "{tiles}");
    assert_eq!(tiles["calibrated"], true);
    let (status, _) = asked(&pages, "/api/tests/1/scans/scan-sun-715-4/tiles/0/99/0").await;
    assert_eq!(status, StatusCode::NOT_FOUND);
    // Thrown away, it leaves the list; all of it can be taken out again.
    let away = pages
        .send(form(
            "/tests/1/put-away",
            &format!("token={}", pages.token()),
        ))
        .await;
    assert_eq!(away.status(), StatusCode::SEE_OTHER);
    let (_, list) = asked(&pages, "/api/tests").await;
    assert_eq!(list, json!([]));
}

#[tokio::test(flavor = "multi_thread")]
async fn of_two_windows_neither_loses_its_change() {
    let pages = Pages::new();
    let test = begun(&pages).await;
    let records = format!("/api/tests/{test}/records");
    let (_, first) = asked(&pages, &records).await;
    let seen = first["revision"].clone();
    let rows = |name: &str| {
        json!({"expected_revision": seen, "tables": {"film": [
            {"was": null, "cells": {"id": "a", "name": name, "box_speed": "400"}}
        ]}})
    };
    let (status, saved) = sent(&pages, "PUT", &records, &rows("Film of window one")).await;
    assert_eq!(status, StatusCode::OK, "{saved}");
    assert_eq!(
        saved["tables"]["film"][0]["cells"]["name"],
        "Film of window one"
    );
    let (status, told) = sent(&pages, "PUT", &records, &rows("Film of window two")).await;
    assert_eq!(status, StatusCode::CONFLICT, "{told}");
    let problem = told["problem"].as_str().unwrap();
    assert!(
        problem.contains("nothing was saved") && problem.contains("film"),
        "{problem}"
    );
    let (_, now) = asked(&pages, &records).await;
    assert_eq!(
        now["tables"]["film"][0]["cells"]["name"],
        "Film of window one"
    );
    // Undone, and put back.
    let undo = |revision: &Value| {
        form(
            &format!("/tests/{test}/undo"),
            &format!("token={}&expected_revision={revision}", pages.token()),
        )
    };
    assert_eq!(pages.send(undo(&seen)).await.status(), StatusCode::CONFLICT);
    assert_eq!(
        pages.send(undo(&now["revision"])).await.status(),
        StatusCode::SEE_OTHER
    );
    let (_, undone) = asked(&pages, &records).await;
    assert_eq!(undone["tables"]["film"], json!([]));
}

#[tokio::test(flavor = "multi_thread")]
async fn hostile_names_are_shown_as_names() {
    const NAME: &str = "</title></script><img src=x onerror=alert(1)>\"'&<svg onload=alert(1)>";
    let pages = Pages::new();
    let (status, test) = sent(&pages, "POST", "/api/tests", &json!({ "title": NAME })).await;
    assert_eq!(status, StatusCode::CREATED);
    let test = test["test"].as_i64().unwrap();
    let rows = json!({"expected_revision": 1, "tables": {
        "film": [{"was": null, "cells": {"id": "a", "name": NAME}}],
        "frame": [{"was": null, "cells": {"id": NAME, "remarks": NAME}}],
    }});
    let (status, told) = sent(&pages, "PUT", &format!("/api/tests/{test}/records"), &rows).await;
    // A draft is kept, with what has to be mended.
    assert_eq!(status, StatusCode::OK, "{told}");
    assert!(!told["problems"].as_array().unwrap().is_empty());
    let own = [
        "plan",
        "exposures",
        "negatives",
        "curves",
        "findings",
        "report",
        "history",
    ]
    .map(|page| format!("/tests/{test}/{page}"));
    for path in own
        .iter()
        .map(String::as_str)
        .chain(["/", "/?words=img", "/?words=%3Csvg"])
    {
        let (status, text) = pages.get(path).await;
        assert_eq!(status, StatusCode::OK, "{path}");
        assert!(!text.contains("<img src=x"), "{path}");
        assert!(!text.contains("<svg onload"), "{path}");
        assert!(!text.contains("</title></script>"), "{path}");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn files_that_are_no_scans_are_refused_and_nothing_is_kept() {
    let pages = Pages::new();
    let test = begun(&pages).await;
    let svg = "<svg xmlns=\"http://www.w3.org/2000/svg\"><script>alert(1)</script></svg>";
    // A TIFF whose first directory lies far beyond its end.
    let tiff: &[u8] = b"II*\0\xff\xff\xff\x7f";
    // A TIFF that claims 4294967295 x 4294967295 pixels of 64 bits in one strip.
    let mut huge = b"II*\0\x08\0\0\0\x04\0".to_vec();
    for (tag, kind, value) in [
        (256_u16, 4_u16, u32::MAX),
        (257, 4, u32::MAX),
        (258, 3, 64),
        (273, 4, 8),
    ] {
        huge.extend(tag.to_le_bytes());
        huge.extend(kind.to_le_bytes());
        huge.extend(1_u32.to_le_bytes());
        huge.extend(value.to_le_bytes());
    }
    huge.extend([0; 4]);
    for (name, bytes) in [
        ("a.svg", svg.as_bytes()),
        ("a.tif", svg.as_bytes()),
        ("b.tif", tiff),
        ("c.tif", huge.as_slice()),
        ("d.png", b"\x89PNG\r\n\x1a\n".as_slice()),
        ("e.tif", b"".as_slice()),
    ] {
        let path = format!("/api/tests/{test}/scans?expected_revision=1&name={name}");
        let request = change(
            &pages,
            "POST",
            &path,
            bytes.to_vec(),
            "application/octet-stream",
        );
        let (status, text) = read(pages.send(request).await).await;
        assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY, "{name}: {text}");
        assert!(
            !text.contains("filmproof-"),
            "the message names the file as it was sent: {text}"
        );
    }
    for name in [
        "..%2F..%2Fetc%2Fpasswd",
        "a%2Fb.tif",
        ".hidden",
        "a%00.tif",
        "%3Cb%3E.tif",
        "",
    ] {
        let path = format!("/api/tests/{test}/scans?expected_revision=1&name={name}");
        let request = change(&pages, "POST", &path, "x", "application/octet-stream");
        assert_eq!(
            pages.send(request).await.status(),
            StatusCode::UNPROCESSABLE_ENTITY,
            "{name}"
        );
    }
    let (_, records) = asked(&pages, &format!("/api/tests/{test}/records")).await;
    assert_eq!(records["revision"], 1, "nothing was kept");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_log_over_the_limit_is_refused() {
    let pages = Pages::new();
    let test = begun(&pages).await;
    let path = format!("/api/tests/{test}/log?expected_revision=1&name=log.json");
    let large = vec![b' '; 9 << 20];
    let request = change(&pages, "POST", &path, large, "application/octet-stream");
    let (status, text) = read(pages.send(request).await).await;
    assert_eq!(status, StatusCode::PAYLOAD_TOO_LARGE, "{text}");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_hostile_bundle_is_refused_whole() {
    let pages = Pages::new();
    // A zip of one member named ../evil, stored, without the list that a bundle has.
    // Form of a zip: PKWARE's APPNOTE, 4.3.7, 4.3.12 and 4.3.16, from memory.
    let name = b"../evil";
    let mut zip = b"PK\x03\x04\x0a\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\x07\0\0\0".to_vec();
    zip.extend(name);
    let directory = zip.len() as u32;
    zip.extend(b"PK\x01\x02\x0a\0\x0a\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\x07\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0");
    zip.extend(name);
    let size = zip.len() as u32 - directory;
    zip.extend(b"PK\x05\x06\0\0\0\0\x01\0\x01\0");
    zip.extend(size.to_le_bytes());
    zip.extend(directory.to_le_bytes());
    zip.extend(b"\0\0");
    for bytes in [zip, b"PK\x05\x06".to_vec(), b"no zip".to_vec()] {
        let request = change(&pages, "POST", "/api/bundles", bytes, "application/zip");
        let (status, text) = read(pages.send(request).await).await;
        assert_eq!(status, StatusCode::ACCEPTED, "{text}");
        let placed: Value = serde_json::from_str(&text).unwrap();
        let number = placed["next"]
            .as_str()
            .unwrap()
            .rsplit('/')
            .next()
            .unwrap()
            .to_owned();
        let state = loop {
            let (_, state) = asked(&pages, &format!("/api/jobs/{number}")).await;
            if state["state"] != "running" {
                break state;
            }
            tokio::time::sleep(Duration::from_millis(20)).await;
        };
        assert_eq!(state["state"], "failed", "{state}");
    }
    assert!(!pages.folder.path().parent().unwrap().join("evil").exists());
    let (_, list) = asked(&pages, "/api/tests").await;
    assert_eq!(list, json!([]));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_pasted_curve_is_answered_and_no_path_of_the_disk_is_told() {
    let pages = Pages::new();
    // An invented film that sees evenly from 400 to 760 nm, and a filter that passes half.
    let film: String = (400..=760)
        .step_by(10)
        .map(|nm| format!("{nm}%091.0%0A"))
        .collect();
    let filter: String = (400..=760)
        .step_by(10)
        .map(|nm| format!("{nm}%090.5%0A"))
        .collect();
    let fields = format!(
        "token={}&film_curve={film}&filter_curve={filter}",
        pages.token()
    );
    let (status, text) = read(pages.send(form("/spectra/answer", &fields)).await).await;
    assert_eq!(status, StatusCode::OK, "{text}");
    // A filter that halves all light costs a factor of 2, one stop, on any film.
    assert!(
        text.contains("×2") && text.contains("1.0 stops more"),
        "{text}"
    );
    assert!(
        !text.contains(&std::env::temp_dir().display().to_string()),
        "{text}"
    );
    let fields = format!("token={}&film_curve=no+curve", pages.token());
    let (status, text) = read(pages.send(form("/spectra/answer", &fields)).await).await;
    assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(
        !text.contains(&std::env::temp_dir().display().to_string()),
        "{text}"
    );
}

#[tokio::test(flavor = "multi_thread")]
async fn a_curve_is_read_off_marks() {
    let pages = Pages::new();
    // Axes by hand: 400 nm at 100 px, 700 nm at 400 px, so 1 nm for each pixel; 0 at 300 px
    // from the top, 1 at 100 px. The point at (250, 200) lies at 550 nm and 0.5.
    let mark = |x: f64, y: f64, value: f64| json!({"x_px": x, "y_px": y, "value": value});
    let plot = json!({
        "x1": mark(100.0, 300.0, 400.0), "x2": mark(400.0, 300.0, 700.0),
        "y1": mark(100.0, 300.0, 0.0), "y2": mark(100.0, 100.0, 1.0),
        "points": [{"x_px": 100.0, "y_px": 300.0}, {"x_px": 250.0, "y_px": 200.0}, {"x_px": 400.0, "y_px": 100.0}],
    });
    let (status, read) = sent(&pages, "POST", "/api/trace", &plot).await;
    assert_eq!(status, StatusCode::OK, "{read}");
    let csv = read["csv"].as_str().unwrap();
    assert!(csv.contains("550.00,0.500000"), "{csv}");
    assert!(
        !csv.contains(&std::env::temp_dir().display().to_string()),
        "{csv}"
    );
    let mut flat = plot;
    flat["x2"] = flat["x1"].clone();
    let (status, told) = sent(&pages, "POST", "/api/trace", &flat).await;
    assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY, "{told}");
}

#[tokio::test(flavor = "multi_thread")]
async fn work_can_be_stopped() {
    let pages = Pages::new();
    let click = pages
        .send(form("/tests/example", &format!("token={}", pages.token())))
        .await;
    let job = click.headers()["location"].to_str().unwrap().to_owned();
    let stop = pages
        .send(form(
            &format!("{job}/stop"),
            &format!("token={}", pages.token()),
        ))
        .await;
    assert_eq!(stop.status(), StatusCode::SEE_OTHER);
    let number = job.rsplit('/').next().unwrap();
    for _ in 0..1200 {
        let (_, state) = asked(&pages, &format!("/api/jobs/{number}")).await;
        if state["state"] != "running" {
            assert_eq!(state["state"], "stopped", "{state}");
            let (_, text) = pages.get(&job).await;
            assert!(text.contains("Stopped"), "{text}");
            return;
        }
        tokio::time::sleep(Duration::from_millis(20)).await;
    }
    panic!("the work did not stop");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_planned_test_has_its_field_cards() {
    let pages = Pages::new();
    let fields = "title=Meadow&film=Testfilm+A&box_speed=400&filter=R-715&edge_nm=715&level=50%25&film_class=extended-red&sky=clear-sun&ev100=&sheets=8&holders=4&aperture=16&longest=60&red_filter=on&way=plan";
    let answer = pages
        .send(form(
            "/tests/new",
            &format!("token={}&{fields}", pages.token()),
        ))
        .await;
    assert_eq!(answer.status(), StatusCode::SEE_OTHER);
    assert_eq!(answer.headers()["location"], "/tests/1/plan");
    let (_, text) = pages.get("/tests/1/plan").await;
    assert!(
        text.contains("8 frames") && text.contains("Never look at the sun"),
        "{text}"
    );
    for kind in ["phone", "sheet", "cards"] {
        let card = pages
            .send(common::get(&format!("/tests/1/card/{kind}")))
            .await;
        assert_eq!(card.status(), StatusCode::OK, "{kind}");
        let attached = card.headers().contains_key("content-disposition");
        // What has a script of its own is handed out as a file, never shown here.
        assert_eq!(attached, kind == "phone");
    }
    // What can't be planned is told, and what was typed is kept.
    let wrong = fields.replace("sheets=8", "sheets=eight");
    let answer = pages
        .send(form(
            "/tests/new",
            &format!("token={}&{wrong}", pages.token()),
        ))
        .await;
    let (status, text) = read(answer).await;
    assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(
        text.contains("Testfilm A") && text.contains("no whole number"),
        "{text}"
    );
    // Text that could name a file is no cut-on.
    let path = fields.replace("edge_nm=715", "edge_nm=%2Fetc%2Fpasswd");
    let answer = pages
        .send(form(
            "/tests/new",
            &format!("token={}&{path}", pages.token()),
        ))
        .await;
    assert_eq!(answer.status(), StatusCode::UNPROCESSABLE_ENTITY);
}
