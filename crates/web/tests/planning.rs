//! A plan while it is made, and kept with a test that is recorded already.

#![expect(clippy::unwrap_used, reason = "a test program")]

mod common;

use axum::http::StatusCode;
use common::{Pages, asked, ended, form, read};

/// What a plan promises, read off the answer: half the width of the interval, in stops.
fn promised(answer: &str) -> f64 {
    let after = answer.split("<p class=\"big\">± ").nth(1).unwrap();
    let number = after.split(' ').next().unwrap();
    number.parse().unwrap()
}

#[tokio::test(flavor = "multi_thread")]
async fn the_promised_interval_narrows_with_sheets_and_with_what_is_known() {
    let pages = Pages::new();
    let ask = async |fields: &str| {
        let usual = "film_class=extended-red&box_speed=400&edge_nm=715&level=50%25&sky=clear-sun&holders=12&aperture=16&longest=60";
        let body = format!("token={}&{usual}&{fields}", pages.token());
        read(pages.send(form("/tests/new/answer", &body)).await).await
    };
    let (status, four) = ask("sheets=4").await;
    assert_eq!(status, StatusCode::OK);
    let (_, twelve) = ask("sheets=12").await;
    let (_, measured) = ask("sheets=12&measured_shutter=on").await;
    let widths = [promised(&four), promised(&twelve), promised(&measured)];
    assert!(widths[0] > widths[1] && widths[1] > widths[2], "{widths:?}");
    assert!(
        twelve.contains("This plan tells the factor to ±"),
        "the figure"
    );
    assert!(four.contains("common practice"));
    assert!(four.contains(">Off</th>"), "how far the marks are off");
    let (_, spectra) = ask("sheets=8&source=spectra&sun_deg=30").await;
    assert!(spectra.contains("(spectra)"), "{spectra}");
    let (_, known) = ask("sheets=8&source=known&known_stops=7.5&known_sd=0.4").await;
    assert!(
        known.contains("7.5 stops, give or take 0.4 (given)"),
        "{known}"
    );
    // What stands for nothing is told in the answer's place, and no path of the disk is.
    for (wrong, told) in [
        ("sheets=many", "number of sheets"),
        ("sheets=8&source=spectra&gelatin=../x", "gelatin"),
        ("sheets=8&source=spectra&film_curve=no+curve", "pasted film"),
    ] {
        let (status, text) = ask(wrong).await;
        assert_eq!(status, StatusCode::OK);
        assert!(
            text.to_lowercase().contains(told) && !text.contains("/tmp"),
            "{text}"
        );
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_recorded_test_is_planned_with_its_own_film_filter_and_holders() {
    let pages = Pages::new();
    let token = pages.token().to_owned();
    let begun = pages
        .send(form(
            "/tests/new",
            &format!("token={token}&way=record&title=Wood&film=Testfilm+A&box_speed=200&filter=R-695&edge_nm=695&level=50%25"),
        ))
        .await;
    assert_eq!(begun.status(), StatusCode::SEE_OTHER);
    let (_, page) = pages.get("/tests/1/plan").await;
    assert!(page.contains("/tests/1/plan/new"));
    let (status, page) = pages.get("/tests/1/plan/new").await;
    assert_eq!(status, StatusCode::OK);
    assert!(page.contains("Testfilm A") && page.contains("695 nm, half of the light"));
    assert!(page.contains("value=\"200\""), "the speed on its box");
    let (_, before) = asked(&pages, "/api/tests/1/records").await;
    let fields = "film_id=film&film_class=extended-red&box_speed=200&filter_id=filter&light_id=&sky=overcast&ev100=12\
                  &process_id=process&sheets=8&holder_names=red%2C+blue%2C+7%2C+8&aperture=22&longest=60&red_filter=on&tablet=on";
    let stale = format!("token={token}&expected_revision=1&{fields}");
    let refused = pages.send(form("/tests/1/plan", &stale)).await;
    assert_eq!(refused.status(), StatusCode::CONFLICT);
    let revision = &before["revision"];
    let body = format!("token={token}&expected_revision={revision}&{fields}");
    let (status, text) = read(pages.send(form("/tests/1/plan", &body)).await).await;
    assert_eq!(status, StatusCode::SEE_OTHER, "{text}");
    let (_, plan) = pages.get("/tests/1/plan").await;
    assert!(
        plan.contains("none exposed yet") && plan.contains("<td>redA</td>"),
        "{plan}"
    );
    assert!(plan.contains("<td>R-695</td>"), "the filter's own name");
    let (_, after) = asked(&pages, "/api/tests/1/records").await;
    assert_eq!(after["problems"].as_array().map(Vec::len), Some(0));
    assert_eq!(after["tables"]["film"], before["tables"]["film"]);
    let filters = after["tables"]["filter"].as_array().unwrap();
    assert_eq!(filters.len(), 2, "the plain red one is added");
    let lights = after["tables"]["light"].as_array().unwrap();
    assert_eq!(lights.last().unwrap()["cells"]["sky"], "overcast");
    assert_eq!(lights.last().unwrap()["cells"]["ev100"], "12");
    assert_eq!(after["tables"]["tablet"][0]["cells"]["nominal"], "21");
    let (status, card) = pages.get("/tests/1/card/sheet").await;
    assert_eq!(status, StatusCode::OK);
    assert!(card.contains("blueB") || card.contains("blueA"));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_test_with_exposed_frames_gets_a_plan_beside_them() {
    let pages = Pages::new();
    let click = pages
        .send(form("/tests/example", &format!("token={}", pages.token())))
        .await;
    let job = click.headers()["location"].to_str().unwrap().to_owned();
    ended(&pages, &job).await;
    let (_, records) = asked(&pages, "/api/tests/1/records").await;
    let cell = |kind: &str, key: &str| {
        records["tables"][kind][0]["cells"][key]
            .as_str()
            .unwrap()
            .to_owned()
    };
    let (_, page) = pages.get("/tests/1/plan/new").await;
    // The factor that the test found is offered as the one that is known.
    assert!(page.contains(&format!("name=\"known_stops.{}\"", cell("filter", "id"))));
    let fields = format!(
        "film_id={}&film_class=panchromatic&filter_id={}&light_id={}&process_id={}&source=known&known_stops.{}=8&known_sd.{}=0.5\
         &sheets=6&holder_names=1%2C2%2C3&aperture=16&longest=60",
        cell("film", "id"),
        cell("filter", "id"),
        cell("light", "id"),
        cell("process", "id"),
        cell("filter", "id"),
        cell("filter", "id"),
    );
    let body = format!(
        "token={}&expected_revision={}&{fields}",
        pages.token(),
        records["revision"]
    );
    let (status, text) = read(pages.send(form("/tests/1/plan", &body)).await).await;
    assert_eq!(status, StatusCode::SEE_OTHER, "{text}");
    let (_, after) = asked(&pages, "/api/tests/1/records").await;
    assert_eq!(after["problems"].as_array().map(Vec::len), Some(0));
    assert_eq!(after["tables"]["frame"], records["tables"]["frame"]);
    assert_eq!(after["tables"]["light"], records["tables"]["light"]);
    let (_, plan) = pages.get("/tests/1/plan").await;
    assert!(plan.contains("6 frames"), "{plan}");
    assert!(plan.contains("none exposed yet"), "their names are new");
}
