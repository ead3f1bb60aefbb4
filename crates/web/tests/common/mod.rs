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
use std::sync::Arc;
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
