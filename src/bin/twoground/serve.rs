//! Serves the page to this machine's own browsers, and to nobody else.

use std::io;
use std::net::{Ipv4Addr, TcpListener};
use std::process::ExitCode;

use axum::Router;
use axum::extract::Request;
use axum::http::{HeaderName, HeaderValue, StatusCode, header};
use axum::middleware::{self, Next};
use axum::response::{IntoResponse, Redirect, Response};
use lexopt::prelude::*;
use tower_http::services::ServeDir;
use twoground::Error;

use crate::{Outcome, package, say, site};

/// Fixed, because a browser keeps paints by address.
const PORT: u16 = 4860;

/// Sent with everything. The page may run its own scripts and WebAssembly and reach its own address, nothing more.
const HEADERS: [(HeaderName, HeaderValue); 6] = [
    (
        header::CONTENT_SECURITY_POLICY,
        HeaderValue::from_static(
            "default-src 'self'; script-src 'self' 'wasm-unsafe-eval'; style-src 'self'; img-src 'self' data: blob:; \
             worker-src 'self'; connect-src 'self'; object-src 'none'; base-uri 'none'; form-action 'none'; \
             frame-ancestors 'none'",
        ),
    ),
    (header::CACHE_CONTROL, HeaderValue::from_static("no-store")),
    (
        HeaderName::from_static("cross-origin-opener-policy"),
        HeaderValue::from_static("same-origin"),
    ),
    (
        HeaderName::from_static("cross-origin-resource-policy"),
        HeaderValue::from_static("same-origin"),
    ),
    (
        header::REFERRER_POLICY,
        HeaderValue::from_static("no-referrer"),
    ),
    (
        header::X_CONTENT_TYPE_OPTIONS,
        HeaderValue::from_static("nosniff"),
    ),
];

/// Runs until the process is ended.
pub(crate) fn run(mut parser: lexopt::Parser) -> Outcome {
    let (mut port, mut open) = (PORT, true);
    while let Some(arg) = parser.next()? {
        match arg {
            Long("port") => port = parser.value()?.parse()?,
            Long("no-open") => open = false,
            _ => return Err(arg.unexpected().into()),
        }
    }
    let source = package::source_folder()?;
    // Before the build, which takes a while.
    let listener =
        TcpListener::bind((Ipv4Addr::LOCALHOST, port)).map_err(|error| no_port(port, &error))?;
    let port = listener
        .local_addr()
        .map_err(|error| no_port(port, &error))?
        .port();
    let package = package::build(&source)?;
    let folder = site::build(&source, &package)?;
    let files = ServeDir::new(folder)
        .precompressed_br()
        .precompressed_gzip();
    let site = Router::new()
        .fallback_service(files)
        .layer(middleware::from_fn(only_this_machine))
        .layer(middleware::map_response(with_headers));
    let address = format!("http://127.0.0.1:{port}");
    say(&format!("Two Grounds is at {address}\n"))?;
    if open && has_a_screen() && open::that_detached(&address).is_err() {
        eprintln!("No browser could be opened from here: open the address yourself.");
    }
    serve(listener, site).map_err(|error| no_port(port, &error))?;
    Ok(ExitCode::SUCCESS)
}

fn serve(listener: TcpListener, site: Router) -> io::Result<()> {
    listener.set_nonblocking(true)?;
    tokio::runtime::Builder::new_current_thread()
        .enable_io()
        .build()?
        .block_on(async { axum::serve(tokio::net::TcpListener::from_std(listener)?, site).await })
}

fn no_port(port: u16, error: &dyn std::fmt::Display) -> Error {
    Error::Outside {
        what: "The page",
        doing: "could not be served",
        reason: format!(
            "port {port} said \"{error}\"; if Two Grounds runs already, open http://127.0.0.1:{port}, otherwise take \
             another port with --port"
        ),
    }
}

/// Whether a browser window would be seen by anybody.
fn has_a_screen() -> bool {
    let set = |name: &str| std::env::var_os(name).is_some_and(|value| !value.is_empty());
    let display =
        cfg!(any(windows, target_os = "macos")) || set("DISPLAY") || set("WAYLAND_DISPLAY");
    display && !set("CI")
}

/// Answers to this machine's own name. Any other name is another site's, made to point here to read what is served.
async fn only_this_machine(request: Request, next: Next) -> Response {
    let host = request
        .headers()
        .get(header::HOST)
        .and_then(|host| host.to_str().ok())
        .unwrap_or_default();
    match host.split(':').next() {
        Some("127.0.0.1") => next.run(request).await,
        // One address for one shelf: the browser keeps paints of 127.0.0.1 and of localhost apart.
        Some("localhost") => {
            let host = host.replacen("localhost", "127.0.0.1", 1);
            Redirect::permanent(&format!("http://{host}{}", request.uri())).into_response()
        }
        _ => (
            StatusCode::MISDIRECTED_REQUEST,
            "This server answers to 127.0.0.1 only.",
        )
            .into_response(),
    }
}

async fn with_headers(mut response: Response) -> Response {
    response.headers_mut().extend(HEADERS);
    response
}
