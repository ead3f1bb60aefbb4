//! What is refused before any handler sees it.
//!
//! - a connection from another device, unless it was let in by its code;
//! - a Host that is not this program's own address, so that no foreign name can
//!   be pointed at it;
//! - a change that another site sent (Origin, Sec-Fetch-Site), or without the
//!   token that only pages of this run know;
//! - a picture or script of ours within a page of another site.
//!
//! Every answer gets headers that forbid inline scripts and styles, foreign
//! sources, framing, and guessing of types.

use crate::phone;
use crate::refusal::Refusal;
use crate::shared::Shared;
use crate::token::same;
use axum::body::{Body, Bytes, to_bytes};
use axum::extract::{ConnectInfo, Request, State, connect_info::Connected};
use axum::http::{HeaderMap, HeaderValue, Method, StatusCode, header};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};
use axum::serve::IncomingStream;
use std::net::SocketAddr;
use std::sync::Arc;
use tokio::net::TcpListener;

/// The header that carries the token of a change.
pub(crate) const TOKEN_HEADER: &str = "x-filmproof-token";
/// The field that carries it in a form.
pub(crate) const TOKEN_FIELD: &str = "token";
/// Largest form or JSON that is read whole. \[bytes\]
pub(crate) const MOST_FORM_BYTES: usize = 4 * 1024 * 1024;

const POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; \
    font-src 'self'; connect-src 'self'; frame-src 'self'; form-action 'self'; base-uri 'none'; \
    frame-ancestors 'self'";

/// The two ends of a connection.
#[derive(Clone, Copy, Debug)]
pub struct Connection {
    /// Who asks.
    pub peer: SocketAddr,
    /// Which address of this machine was asked.
    pub local: SocketAddr,
}

impl Connected<IncomingStream<'_, TcpListener>> for Connection {
    fn connect_info(stream: IncomingStream<'_, TcpListener>) -> Self {
        let peer = *stream.remote_addr();
        Self {
            peer,
            // Without a local address nothing will match it, so it is refused.
            local: stream
                .io()
                .local_addr()
                .unwrap_or(SocketAddr::from(([0, 0, 0, 0], 0))),
        }
    }
}

/// Lets a request through or refuses it.
pub(crate) async fn guard(
    State(shared): State<Arc<Shared>>,
    request: Request,
    next: Next,
) -> Response {
    let json = wants_json(request.uri().path());
    let mut response = match passed(&shared, request).await {
        Ok(request) => next.run(request).await,
        Err(refusal) => refusal.told_as(json).into_response(),
    };
    add_headers(response.headers_mut());
    response
}

/// Whether a path belongs to the API, whose refusals are JSON.
pub(crate) fn wants_json(path: &str) -> bool {
    path == "/api" || path.starts_with("/api/")
}

async fn passed(shared: &Shared, request: Request) -> Result<Request, Refusal> {
    let connection = request
        .extensions()
        .get::<ConnectInfo<Connection>>()
        .map(|ConnectInfo(connection)| *connection)
        .ok_or_else(|| Refusal::new(StatusCode::FORBIDDEN, "the connection is not known", ""))?;
    own_host(request.headers(), connection)?;
    same_site(&request)?;
    let_in(shared, &request, connection)?;
    if reads_only(request.method()) {
        return Ok(request);
    }
    own_origin(request.headers())?;
    with_token(shared, request).await
}

fn reads_only(method: &Method) -> bool {
    matches!(*method, Method::GET | Method::HEAD | Method::OPTIONS)
}

/// The Host must be an address of this very listener: the loopback names, or for
/// a phone the numeric address that it connected to.
fn own_host(headers: &HeaderMap, connection: Connection) -> Result<(), Refusal> {
    let mut hosts = headers.get_all(header::HOST).iter();
    let host = hosts
        .next()
        .and_then(|h| h.to_str().ok())
        .unwrap_or_default();
    let port = connection.local.port();
    let own = if connection.peer.ip().to_canonical().is_loopback() {
        ["127.0.0.1", "localhost", "[::1]"]
            .iter()
            .any(|name| host.eq_ignore_ascii_case(&format!("{name}:{port}")))
    } else {
        SocketAddr::new(connection.local.ip().to_canonical(), port).to_string() == host
    };
    // Port 80 is left out by browsers; nobody gets it without asking for it.
    if own && hosts.next().is_none() {
        return Ok(());
    }
    Err(Refusal::new(
        StatusCode::MISDIRECTED_REQUEST,
        "the request names another host than this program's address",
        "open the address that the program prints",
    ))
}

/// Another site's page may lead here by a link, and embed nothing.
fn same_site(request: &Request) -> Result<(), Refusal> {
    let headers = request.headers();
    let said = |name: &str| {
        headers
            .get(name)
            .and_then(|v| v.to_str().ok())
            .unwrap_or("")
    };
    let link = reads_only(request.method())
        && said("sec-fetch-mode") == "navigate"
        && said("sec-fetch-dest") == "document";
    match said("sec-fetch-site") {
        "" | "same-origin" | "none" => Ok(()),
        _ if link => Ok(()),
        _ => Err(foreign()),
    }
}

fn own_origin(headers: &HeaderMap) -> Result<(), Refusal> {
    let host = headers
        .get(header::HOST)
        .and_then(|h| h.to_str().ok())
        .unwrap_or_default();
    let mut origins = headers.get_all(header::ORIGIN).iter();
    match (origins.next(), origins.next()) {
        // No browser leaves it out of a change; a program of the user's own may.
        (None, _) => Ok(()),
        (Some(origin), None) if origin.as_bytes() == format!("http://{host}").as_bytes() => Ok(()),
        _ => Err(foreign()),
    }
}

fn foreign() -> Refusal {
    Refusal::new(
        StatusCode::FORBIDDEN,
        "the request comes from another site",
        "open the page itself and try again there",
    )
}

fn let_in(shared: &Shared, request: &Request, connection: Connection) -> Result<(), Refusal> {
    if connection.peer.ip().to_canonical().is_loopback() {
        return Ok(());
    }
    let Some(phones) = shared.phones() else {
        return Err(Refusal::new(
            StatusCode::FORBIDDEN,
            "other devices are not let in",
            "",
        ));
    };
    let path = request.uri().path();
    if path == "/let-in" || path.starts_with("/assets/") {
        return Ok(());
    }
    let known = request
        .headers()
        .get_all(header::COOKIE)
        .iter()
        .filter_map(|v| v.to_str().ok())
        .flat_map(|v| v.split(';'))
        .filter_map(|pair| pair.trim().split_once('='))
        .any(|(name, value)| name == phone::COOKIE && phones.knows(value));
    if known {
        return Ok(());
    }
    Err(Refusal::new(
        StatusCode::UNAUTHORIZED,
        "this device is not let in yet",
        "open /let-in on it and type the code that the program shows",
    ))
}

/// A change carries the token in its header, or in its form where it is one.
async fn with_token(shared: &Shared, request: Request) -> Result<Request, Refusal> {
    let refused = || {
        Refusal::new(
            StatusCode::FORBIDDEN,
            "the change does not carry the token of this run",
            "load the page again, then repeat what you did; the program may have been started anew",
        )
    };
    if let Some(sent) = request.headers().get(TOKEN_HEADER) {
        let right = sent.to_str().is_ok_and(|sent| same(sent, shared.token()));
        return if right { Ok(request) } else { Err(refused()) };
    }
    // A phone that is not let in knows no token; its code is what counts.
    if request.uri().path() == "/let-in" {
        return Ok(request);
    }
    let form = request
        .headers()
        .get(header::CONTENT_TYPE)
        .is_some_and(|t| {
            t.as_bytes()
                .starts_with(b"application/x-www-form-urlencoded")
        });
    if !form {
        return Err(refused());
    }
    let (parts, body) = request.into_parts();
    let bytes = whole(body).await?;
    let right = crate::form::fields(&bytes)
        .iter()
        .any(|(name, value)| name == TOKEN_FIELD && same(value, shared.token()));
    if right {
        Ok(Request::from_parts(parts, Body::from(bytes)))
    } else {
        Err(refused())
    }
}

async fn whole(body: Body) -> Result<Bytes, Refusal> {
    to_bytes(body, MOST_FORM_BYTES).await.map_err(|_| {
        Refusal::new(
            StatusCode::PAYLOAD_TOO_LARGE,
            format!("a form of more than {MOST_FORM_BYTES} bytes is not read"),
            "send less at once",
        )
    })
}

fn add_headers(headers: &mut HeaderMap) {
    let fixed = [
        (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
        (header::REFERRER_POLICY, "same-origin"),
        (header::X_FRAME_OPTIONS, "SAMEORIGIN"),
    ];
    for (name, value) in fixed {
        headers.insert(name, HeaderValue::from_static(value));
    }
    for (name, value) in [
        ("cross-origin-opener-policy", "same-origin"),
        ("cross-origin-resource-policy", "same-origin"),
        (
            "permissions-policy",
            "camera=(), microphone=(), geolocation=()",
        ),
    ] {
        headers.insert(name, HeaderValue::from_static(value));
    }
    // A report brings its own, stricter in scripts and freer in styles.
    if !headers.contains_key(header::CONTENT_SECURITY_POLICY) {
        headers.insert(
            header::CONTENT_SECURITY_POLICY,
            HeaderValue::from_static(POLICY),
        );
    }
    if !headers.contains_key(header::CACHE_CONTROL) {
        headers.insert(header::CACHE_CONTROL, HeaderValue::from_static("no-store"));
    }
}
