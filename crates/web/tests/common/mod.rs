//! The pages without a port: requests straight into the router.

#![allow(
    dead_code,
    clippy::allow_attributes,
    clippy::unwrap_used,
    reason = "tests; each program uses its own part"
)]

use axum::body::{Body, to_bytes};
use axum::extract::ConnectInfo;
use axum::http::{Request, Response, StatusCode};
use serde_json::{Value, json};
use std::sync::Arc;
use std::time::Duration;
use tempfile::TempDir;
use tower::ServiceExt as _;
use web::{Connection, ServeSettings, Shared, router};

/// Where the tests pretend to listen.
pub(crate) const HOST: &str = "127.0.0.1:8715";

/// A notebook in a folder of its own, with its pages.
pub(crate) struct Pages {
    pub(crate) folder: TempDir,
    pub(crate) shared: Arc<Shared>,
}

impl Pages {
    pub(crate) fn new() -> Self {
        Self::with(false)
    }

    pub(crate) fn with(phone: bool) -> Self {
        let folder = tempfile::tempdir().unwrap();
        let shared = Shared::open(&ServeSettings {
            notebook: folder.path().join("notebook.sqlite"),
            port: None,
            phone,
        })
        .unwrap();
        Self {
            folder,
            shared: Arc::new(shared),
        }
    }

    pub(crate) fn token(&self) -> &str {
        self.shared.token()
    }

    /// Sends a request as a browser on this machine would.
    pub(crate) async fn send(&self, request: Request<Body>) -> Response<Body> {
        self.send_from("127.0.0.1:50000", HOST, request).await
    }

    pub(crate) async fn send_from(
        &self,
        peer: &str,
        local: &str,
        mut request: Request<Body>,
    ) -> Response<Body> {
        request.extensions_mut().insert(ConnectInfo(Connection {
            peer: peer.parse().unwrap(),
            local: local.parse().unwrap(),
        }));
        router(&self.shared).oneshot(request).await.unwrap()
    }

    pub(crate) async fn get(&self, path: &str) -> (StatusCode, String) {
        read(self.send(get(path)).await).await
    }
}

pub(crate) fn get(path: &str) -> Request<Body> {
    Request::get(path)
        .header("host", HOST)
        .body(Body::empty())
        .unwrap()
}

/// A form as a page of ours sends it.
pub(crate) fn form(path: &str, fields: &str) -> Request<Body> {
    Request::post(path)
        .header("host", HOST)
        .header("origin", format!("http://{HOST}"))
        .header("sec-fetch-site", "same-origin")
        .header("content-type", "application/x-www-form-urlencoded")
        .body(Body::from(fields.to_owned()))
        .unwrap()
}

pub(crate) async fn read(response: Response<Body>) -> (StatusCode, String) {
    let status = response.status();
    let bytes = to_bytes(response.into_body(), 64 << 20).await.unwrap();
    (status, String::from_utf8_lossy(&bytes).into_owned())
}

/// A change by the API.
pub(crate) fn change(
    pages: &Pages,
    method: &str,
    path: &str,
    body: impl Into<Body>,
    kind: &str,
) -> Request<Body> {
    Request::builder()
        .method(method)
        .uri(path)
        .header("host", HOST)
        .header("x-filmproof-token", pages.token())
        .header("content-type", kind)
        .body(body.into())
        .unwrap()
}

pub(crate) async fn sent(
    pages: &Pages,
    method: &str,
    path: &str,
    json: &Value,
) -> (StatusCode, Value) {
    let request = change(pages, method, path, json.to_string(), "application/json");
    let (status, text) = read(pages.send(request).await).await;
    (status, serde_json::from_str(&text).unwrap_or(Value::Null))
}

pub(crate) async fn asked(pages: &Pages, path: &str) -> (StatusCode, Value) {
    let (status, text) = pages.get(path).await;
    (status, serde_json::from_str(&text).unwrap_or(Value::Null))
}

pub(crate) async fn begun(pages: &Pages) -> i64 {
    let (status, test) = sent(pages, "POST", "/api/tests", &json!({"title": "T"})).await;
    assert_eq!(status, StatusCode::CREATED, "{test}");
    test["test"].as_i64().unwrap()
}

/// Waits until a job has ended; gives the address of its result.
pub(crate) async fn ended(pages: &Pages, address: &str) -> String {
    let number = address.rsplit('/').next().unwrap();
    for _ in 0..1200 {
        let (_, state) = asked(pages, &format!("/api/jobs/{number}")).await;
        match state["state"].as_str() {
            Some("running") => tokio::time::sleep(Duration::from_millis(50)).await,
            Some("done") => return state["result"].as_str().unwrap().to_owned(),
            _ => panic!("the work did not end well: {state}"),
        }
    }
    panic!("the work did not end");
}
