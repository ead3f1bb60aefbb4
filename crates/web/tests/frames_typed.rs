//! Frames that are taken out or named anew, with what lies on them; and the light table,
//! which is not laid out anew for what does not change it.

#![expect(
    clippy::unwrap_used,
    reason = "what a test asks first may panic when it is broken"
)]

mod common;

use axum::http::StatusCode;
use common::{Pages, asked, ended, form, get, sent};
use serde_json::{Value, json};

async fn example() -> Pages {
    let pages = Pages::new();
    let click = pages
        .send(form("/tests/example", &format!("token={}", pages.token())))
        .await;
    ended(&pages, click.headers()["location"].to_str().unwrap()).await;
    pages
}

/// Rows of the worked example's `patches.csv` that begin with a frame's name.
fn patches_of(pages: &Pages, frame: &str) -> usize {
    let demo = pages.folder.path().join("demo");
    if !demo.exists() {
        app::write_demo(&demo, &app::Silent).unwrap();
    }
    let text = std::fs::read_to_string(demo.join("patches.csv")).unwrap();
    let begin = format!("{frame},");
    text.lines().filter(|line| line.starts_with(&begin)).count()
}

async fn frames(pages: &Pages) -> (Value, Vec<Value>) {
    let (_, records) = asked(pages, "/api/tests/1/records").await;
    let frames = records["tables"]["frame"].as_array().unwrap().clone();
    (records["revision"].clone(), frames)
}

#[tokio::test(flavor = "multi_thread")]
async fn a_frame_with_patches_is_not_taken_out_unasked() {
    let pages = example().await;
    let (revision, all) = frames(&pages).await;
    let left: Vec<&Value> = all
        .iter()
        .filter(|row| row["cells"]["id"] != "sun-715-2")
        .collect();
    assert_eq!(left.len() + 1, all.len());
    let change = |more: bool| {
        json!({
            "expected_revision": revision,
            "tables": { "frame": left },
            "with_what_lies_on_frames": more,
        })
    };
    let (status, told) = sent(&pages, "PUT", "/api/tests/1/records", &change(false)).await;
    assert_eq!(status, StatusCode::PRECONDITION_REQUIRED, "{told}");
    let lies = format!(
        "frame sun-715-2 has {} patches, 1 scan",
        patches_of(&pages, "sun-715-2")
    );
    assert_eq!(told["problem"], json!(lies));
    assert_eq!(frames(&pages).await, (revision.clone(), all.clone()));
    let (status, saved) = sent(&pages, "PUT", "/api/tests/1/records", &change(true)).await;
    assert_eq!(
        (status, &saved["problems"]),
        (StatusCode::OK, &json!([])),
        "{saved}"
    );
}

#[tokio::test(flavor = "multi_thread")]
async fn patches_follow_a_frame_to_its_new_name_and_the_table_is_laid_at_once() {
    let pages = example().await;
    let laying = pages.send(get("/tests/1/negatives")).await;
    ended(&pages, laying.headers()["location"].to_str().unwrap()).await;
    // An outline more, on a frame of its own: no scan has changed, so no work is begun.
    let patch = json!({
        "expected_revision": 1, "scan": "scan-sun-715-4", "frame": "sun-715-4", "patch": "wall-2",
        "role": "wall", "x_px": 470, "y_px": 315, "width_px": 40, "height_px": 24, "carry": false,
    });
    let (status, told) = sent(&pages, "POST", "/api/tests/1/patches", &patch).await;
    assert!(status.is_success(), "{told}");
    let (status, page) = pages.get("/tests/1/negatives").await;
    assert_eq!(status, StatusCode::OK);
    assert!(page.contains("wall-2"), "{page}");

    let (revision, mut all) = frames(&pages).await;
    let row = all
        .iter_mut()
        .find(|row| row["cells"]["id"] == "sun-715-4")
        .unwrap();
    row["cells"]["id"] = json!("sun-715-four");
    let change = json!({ "expected_revision": revision, "tables": { "frame": all } });
    let (status, saved) = sent(&pages, "PUT", "/api/tests/1/records", &change).await;
    assert_eq!(
        (status, &saved["problems"]),
        (StatusCode::OK, &json!([])),
        "{saved}"
    );
}
