//! What is refused before any handler sees it.

mod common;

use axum::body::Body;
use axum::http::{Request, StatusCode};
use common::{HOST, Pages, form, get, read};

#[tokio::test]
async fn a_foreign_host_is_refused() {
    let pages = Pages::new();
    for host in [
        "evil.example:8715",
        "127.0.0.1.evil.example:8715",
        "localhost",
        "127.0.0.1:80",
        "",
    ] {
        let request = Request::get("/")
            .header("host", host)
            .body(Body::empty())
            .unwrap();
        assert_eq!(
            pages.send(request).await.status(),
            StatusCode::MISDIRECTED_REQUEST,
            "{host:?}"
        );
    }
    let none = Request::get("/").body(Body::empty()).unwrap();
    assert_eq!(
        pages.send(none).await.status(),
        StatusCode::MISDIRECTED_REQUEST
    );
    let two = Request::get("/")
        .header("host", HOST)
        .header("host", "evil.example")
        .body(Body::empty())
        .unwrap();
    assert_eq!(
        pages.send(two).await.status(),
        StatusCode::MISDIRECTED_REQUEST
    );
    for host in [HOST, "localhost:8715", "LocalHost:8715", "[::1]:8715"] {
        let request = Request::get("/")
            .header("host", host)
            .body(Body::empty())
            .unwrap();
        assert_eq!(
            pages.send(request).await.status(),
            StatusCode::OK,
            "{host:?}"
        );
    }
}

#[tokio::test]
async fn a_change_from_another_site_is_refused_though_it_had_the_token() {
    let pages = Pages::new();
    let token = pages.token().to_owned();
    for origin in [
        "http://evil.example",
        "null",
        "https://127.0.0.1:8715",
        "http://127.0.0.1:9",
    ] {
        let request = Request::post("/jobs/1/stop")
            .header("host", HOST)
            .header("origin", origin)
            .header("content-type", "application/x-www-form-urlencoded")
            .body(Body::from(format!("token={token}")))
            .unwrap();
        assert_eq!(
            pages.send(request).await.status(),
            StatusCode::FORBIDDEN,
            "{origin}"
        );
    }
    for site in ["cross-site", "same-site"] {
        let request = Request::post("/jobs/1/stop")
            .header("host", HOST)
            .header("origin", format!("http://{HOST}"))
            .header("sec-fetch-site", site)
            .header("content-type", "application/x-www-form-urlencoded")
            .body(Body::from(format!("token={token}")))
            .unwrap();
        assert_eq!(
            pages.send(request).await.status(),
            StatusCode::FORBIDDEN,
            "{site}"
        );
    }
    // With both right it reaches its handler, which knows no such work.
    let own = pages
        .send(form("/jobs/1/stop", &format!("token={token}")))
        .await;
    assert_eq!(own.status(), StatusCode::NOT_FOUND);
}

#[tokio::test]
async fn a_change_without_the_token_of_this_run_is_refused() {
    let pages = Pages::new();
    for fields in [
        "",
        "token=",
        "token=0123456789abcdef0123456789abcdef",
        "other=1",
    ] {
        let (status, text) = read(pages.send(form("/jobs/1/stop", fields)).await).await;
        assert_eq!(status, StatusCode::FORBIDDEN, "{fields:?}");
        assert!(text.contains("token of this run"), "{text}");
    }
    let json = Request::post("/api/jobs/1/stop")
        .header("host", HOST)
        .body(Body::empty())
        .unwrap();
    let (status, text) = read(pages.send(json).await).await;
    assert_eq!(status, StatusCode::FORBIDDEN);
    assert!(text.starts_with('{'), "the API refuses in JSON: {text}");
    let plain = Request::post("/jobs/1/stop")
        .header("host", HOST)
        .header("content-type", "text/plain")
        .body(Body::from(format!("token={}", pages.token())))
        .unwrap();
    assert_eq!(pages.send(plain).await.status(), StatusCode::FORBIDDEN);
}

#[tokio::test]
async fn another_site_may_link_here_and_embed_nothing() {
    let pages = Pages::new();
    let from = |mode: &str, dest: &str| {
        Request::get("/")
            .header("host", HOST)
            .header("sec-fetch-site", "cross-site")
            .header("sec-fetch-mode", mode)
            .header("sec-fetch-dest", dest)
            .body(Body::empty())
            .unwrap()
    };
    assert_eq!(
        pages.send(from("navigate", "document")).await.status(),
        StatusCode::OK
    );
    assert_eq!(
        pages.send(from("navigate", "iframe")).await.status(),
        StatusCode::FORBIDDEN
    );
    assert_eq!(
        pages.send(from("no-cors", "image")).await.status(),
        StatusCode::FORBIDDEN
    );
    assert_eq!(
        pages.send(from("no-cors", "script")).await.status(),
        StatusCode::FORBIDDEN
    );
}

#[tokio::test]
async fn every_answer_forbids_what_pages_do_not_need() {
    let pages = Pages::new();
    for path in ["/", "/spectra", "/nowhere", "/api/run", "/api/openapi.json"] {
        let answer = pages.send(get(path)).await;
        let header = |name: &str| answer.headers()[name].to_str().unwrap().to_owned();
        let policy = header("content-security-policy");
        assert!(policy.contains("default-src 'none'"), "{path}");
        assert!(!policy.contains("unsafe"), "{path}");
        assert!(policy.contains("frame-ancestors 'self'"), "{path}");
        assert_eq!(header("x-content-type-options"), "nosniff", "{path}");
        assert_eq!(header("cache-control"), "no-store", "{path}");
    }
}

#[tokio::test]
async fn pages_have_no_inline_script_and_no_inline_style() {
    let pages = Pages::new();
    for path in ["/", "/spectra"] {
        let (status, text) = pages.get(path).await;
        assert_eq!(status, StatusCode::OK, "{path}");
        assert!(!text.contains(" style=\""), "{path}");
        assert!(!text.contains("<style"), "{path}");
        assert!(!text.contains("<script>"), "{path}");
        assert!(!text.contains(" onclick"), "{path}");
    }
}

#[tokio::test]
async fn assets_are_kept_for_long_and_lead_nowhere_else() {
    let pages = Pages::new();
    let (_, text) = pages.get("/").await;
    let at = text.find("/assets/").unwrap();
    let style: String = text[at..].chars().take_while(|c| *c != '"').collect();
    let answer = pages.send(get(&style)).await;
    assert_eq!(answer.status(), StatusCode::OK);
    assert!(
        answer.headers()["cache-control"]
            .to_str()
            .unwrap()
            .contains("immutable")
    );
    let folder = style.rsplit_once('/').unwrap().0;
    for name in [
        "../../etc/passwd",
        "..%2f..%2fetc%2fpasswd",
        "%2e%2e/x",
        "none.css",
    ] {
        let (status, _) = pages.get(&format!("{folder}/{name}")).await;
        assert_eq!(status, StatusCode::NOT_FOUND, "{name}");
    }
    let (status, _) = pages.get("/assets/0000000000000000/pages.css").await;
    assert_eq!(status, StatusCode::NOT_FOUND);
}

#[tokio::test]
async fn a_device_on_the_network_comes_in_by_the_code_alone() {
    const LOCAL: &str = "192.168.1.5:8715";
    const PHONE: &str = "192.168.1.9:40000";
    let from_phone = |path: &str| {
        Request::get(path)
            .header("host", LOCAL)
            .body(Body::empty())
            .unwrap()
    };
    let closed = Pages::new();
    let answer = closed.send_from(PHONE, LOCAL, from_phone("/")).await;
    assert_eq!(answer.status(), StatusCode::FORBIDDEN);

    let pages = Pages::with(true);
    let answer = pages.send_from(PHONE, LOCAL, from_phone("/")).await;
    assert_eq!(answer.status(), StatusCode::UNAUTHORIZED);
    // A foreign name for the address is no way round it.
    let named = Request::get("/let-in")
        .header("host", "evil.example:8715")
        .body(Body::empty())
        .unwrap();
    assert_eq!(
        pages.send_from(PHONE, LOCAL, named).await.status(),
        StatusCode::MISDIRECTED_REQUEST
    );
    let typed = |code: &str| {
        Request::post("/let-in")
            .header("host", LOCAL)
            .header("origin", format!("http://{LOCAL}"))
            .header("content-type", "application/x-www-form-urlencoded")
            .body(Body::from(format!("code={code}")))
            .unwrap()
    };
    let wrong = pages.send_from(PHONE, LOCAL, typed("00000000")).await;
    assert_eq!(wrong.status(), StatusCode::FORBIDDEN);
    let code = pages.shared.phone_code().unwrap().unwrap();
    let right = pages.send_from(PHONE, LOCAL, typed(&code)).await;
    assert_eq!(right.status(), StatusCode::SEE_OTHER);
    let cookie = right.headers()["set-cookie"].to_str().unwrap().to_owned();
    assert!(
        cookie.contains("HttpOnly") && cookie.contains("SameSite=Strict"),
        "{cookie}"
    );
    let with = Request::get("/")
        .header("host", LOCAL)
        .header("cookie", cookie.split(';').next().unwrap())
        .body(Body::empty())
        .unwrap();
    assert_eq!(
        pages.send_from(PHONE, LOCAL, with).await.status(),
        StatusCode::OK
    );
    // The code was good once.
    assert_eq!(
        pages.send_from(PHONE, LOCAL, typed(&code)).await.status(),
        StatusCode::FORBIDDEN
    );
}

#[tokio::test]
async fn a_form_over_the_limit_is_refused() {
    let pages = Pages::new();
    let large = format!("token={}&a={}", pages.token(), "x".repeat(5 << 20));
    let answer = pages.send(form("/jobs/1/stop", &large)).await;
    assert_eq!(answer.status(), StatusCode::PAYLOAD_TOO_LARGE);
}

#[tokio::test]
async fn a_wrong_method_and_a_wrong_address_are_told_apart() {
    let pages = Pages::new();
    let put = Request::put("/spectra")
        .header("host", HOST)
        .header("x-filmproof-token", pages.token())
        .body(Body::empty())
        .unwrap();
    assert_eq!(
        pages.send(put).await.status(),
        StatusCode::METHOD_NOT_ALLOWED
    );
    assert_eq!(
        pages.get("/tests/../../etc/passwd").await.0,
        StatusCode::NOT_FOUND
    );
    let (status, text) = pages.get("/api/nothing").await;
    assert_eq!(status, StatusCode::NOT_FOUND);
    assert!(text.starts_with('{'), "{text}");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_file_is_sent_beside_the_notebook_and_gone_when_it_breaks_off() {
    let pages = Pages::new();
    let test = common::begun(&pages).await;
    let uploads = pages.folder.path().join("notebook.sqlite.work/uploads");
    let lying = || std::fs::read_dir(&uploads).map_or(0, |entries| entries.count());
    let (mut sender, body) =
        http_body_util::channel::Channel::<axum::body::Bytes, std::io::Error>::new(1);
    let path = format!("/api/tests/{test}/scans?expected_revision=1&name=a.tif");
    let request = common::change(
        &pages,
        "POST",
        &path,
        Body::new(body),
        "application/octet-stream",
    );
    let sending = async {
        for _ in 0..3 {
            sender.send_data(vec![0; 1 << 16].into()).await.unwrap();
        }
        // What was sent lies here and nowhere else; the last piece may be on its way.
        assert_eq!(lying(), 1);
        sender.abort(std::io::Error::other("the cable was pulled"));
    };
    let (answer, ()) = tokio::join!(pages.send(request), sending);
    assert_eq!(answer.status(), StatusCode::BAD_REQUEST);
    assert_eq!(lying(), 0);
}

#[tokio::test]
async fn a_file_that_says_it_is_too_large_is_refused_in_plain_words() {
    let pages = Pages::new();
    let test = common::begun(&pages).await;
    let path = format!("/api/tests/{test}/log?expected_revision=1&name=log.json");
    let large = vec![b' '; (8 << 20) + 1];
    let request = common::change(&pages, "POST", &path, large, "application/octet-stream");
    let (status, text) = read(pages.send(request).await).await;
    assert_eq!(status, StatusCode::PAYLOAD_TOO_LARGE, "{text}");
    assert!(text.contains("more than 8 MB"), "{text}");
}
