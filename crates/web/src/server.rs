//! Binding, running and stopping.

use crate::guard::Connection;
use crate::router::router;
use crate::shared::Shared;
use app::AppError;
use std::convert::Infallible;
use std::net::{IpAddr, Ipv4Addr, SocketAddr, UdpSocket};
use std::path::PathBuf;
use std::sync::Arc;
use std::time::Duration;
use tokio::net::TcpListener;

/// The port that is tried first, so that a bookmark finds the program again.
const USUAL_PORT: u16 = 8715;
/// How long open requests may take to end once the program is told to stop.
const PATIENCE: Duration = Duration::from_secs(5);

/// What `serve` is told.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ServeSettings {
    /// The notebook; made when it isn't there.
    pub notebook: PathBuf,
    /// The port; the usual one when not given, or a free one where that is taken.
    pub port: Option<u16>,
    /// Whether a phone on the same network may be let in by a code.
    pub phone: bool,
}

/// Serves the pages until the program is told to stop.
///
/// `say` is told each line that a person should see.
///
/// # Errors
/// [`AppError`] when the notebook can't be opened or the port can't be had.
pub fn serve(settings: &ServeSettings, say: &dyn Fn(&str)) -> Result<(), AppError> {
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .worker_threads(2)
        .enable_all()
        .build()
        .map_err(|e| AppError::new(format!("the server could not begin: {e}"), "try again"))?;
    let served = runtime.block_on(served(settings, say));
    // A request that hangs, or work that stops at its next step, is not waited for for ever.
    runtime.shutdown_timeout(PATIENCE);
    served
}

async fn served(settings: &ServeSettings, say: &dyn Fn(&str)) -> Result<(), AppError> {
    let shared = Arc::new(Shared::open(settings)?);
    let listener = bound(settings).await?;
    let address = listener.local_addr().map_err(|e| no_port(&e.to_string()))?;
    say(&format!(
        "Filmproof is at http://127.0.0.1:{}",
        address.port()
    ));
    if let Some(code) = shared.phone_code()? {
        let own =
            own_address().map_or_else(|| "this machine's address".to_owned(), |a| a.to_string());
        say(&format!(
            "A phone on the same network opens http://{own}:{}/let-in and types {code}.\n\
             What is sent is not encrypted: use a network that you trust.",
            address.port()
        ));
    }
    say("Stop it with Ctrl+C.");
    let app = router(&shared).into_make_service_with_connect_info::<Connection>();
    let stopping = Arc::clone(&shared);
    let server = axum::serve(listener, app).with_graceful_shutdown(async move {
        told_to_stop().await;
        stopping.jobs().stop_all();
    });
    tokio::select! {
        ended = std::future::IntoFuture::into_future(server) => {
            ended.map_err(|e| AppError::new(format!("the server ended: {e}"), "start it again"))
        }
        never = new_codes_shown(&shared, say) => match never {},
        () = async {
            told_to_stop().await;
            tokio::time::sleep(PATIENCE).await;
        } => Ok(()),
    }
}

/// Says each code that takes the place of the one that was shown.
async fn new_codes_shown(shared: &Shared, say: &dyn Fn(&str)) -> Infallible {
    if let Some(phones) = shared.phones() {
        let mut shown = phones.shown();
        while shown.changed().await.is_ok() {
            let code = shown.borrow_and_update().clone();
            say(&format!("The code for a phone is {code} now."));
        }
    }
    std::future::pending().await
}

async fn bound(settings: &ServeSettings) -> Result<TcpListener, AppError> {
    let ip: IpAddr = if settings.phone {
        Ipv4Addr::UNSPECIFIED.into()
    } else {
        Ipv4Addr::LOCALHOST.into()
    };
    let at = |port| TcpListener::bind(SocketAddr::new(ip, port));
    match settings.port {
        Some(port) => at(port)
            .await
            .map_err(|e| no_port(&format!("port {port}: {e}"))),
        None => match at(USUAL_PORT).await {
            Ok(listener) => Ok(listener),
            Err(_) => at(0).await.map_err(|e| no_port(&e.to_string())),
        },
    }
}

fn no_port(why: &str) -> AppError {
    AppError::new(
        format!("no port could be had ({why})"),
        "name another with --port, or stop the program that has it",
    )
}

/// This machine's address on the network; nothing is sent to find it.
fn own_address() -> Option<IpAddr> {
    let socket = UdpSocket::bind((Ipv4Addr::UNSPECIFIED, 0)).ok()?;
    // An address set aside for documentation (RFC 5737): only the route is looked up.
    socket.connect(("192.0.2.1", 9)).ok()?;
    socket.local_addr().ok().map(|a| a.ip())
}

async fn told_to_stop() {
    let interrupt = async {
        if tokio::signal::ctrl_c().await.is_err() {
            std::future::pending::<()>().await;
        }
    };
    #[cfg(unix)]
    let terminate = async {
        match tokio::signal::unix::signal(tokio::signal::unix::SignalKind::terminate()) {
            Ok(mut signal) => {
                signal.recv().await;
            }
            Err(_) => std::future::pending().await,
        }
    };
    #[cfg(not(unix))]
    let terminate = std::future::pending::<()>();
    tokio::select! {
        () = interrupt => {}
        () = terminate => {}
    }
}
