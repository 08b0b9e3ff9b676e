//! Serves the page to this machine's own browsers, and to nobody else.

use std::fs;
use std::io::Cursor;
use std::net::{Ipv4Addr, TcpListener};
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use lexopt::prelude::*;
use tiny_http::{Header, Method, Request, Response, Server};
use twoground::Error;

use crate::{Outcome, package, say};

/// Fixed, because a browser keeps paints by address.
const PORT: u16 = 4860;

/// Sent with everything. The page may run its own scripts and WebAssembly and reach its own address, nothing more.
const HEADERS: [(&str, &str); 6] = [
    (
        "Content-Security-Policy",
        "default-src 'self'; script-src 'self' 'wasm-unsafe-eval'; style-src 'self'; img-src 'self' data: blob:; \
         worker-src 'self'; connect-src 'self'; object-src 'none'; base-uri 'none'; form-action 'none'; \
         frame-ancestors 'none'",
    ),
    ("Cache-Control", "no-store"),
    ("Cross-Origin-Opener-Policy", "same-origin"),
    ("Cross-Origin-Resource-Policy", "same-origin"),
    ("Referrer-Policy", "no-referrer"),
    ("X-Content-Type-Options", "nosniff"),
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
    let folders = Folders {
        page: source.join("www"),
        package: package::build(&source)?,
        samples: source.join("sample-scans"),
    };
    let server = Server::from_listener(listener, None).map_err(|error| no_port(port, &error))?;
    let address = format!("http://127.0.0.1:{port}");
    say(&format!("Two Grounds is at {address}\n"))?;
    if open && has_a_screen() && open::that_detached(&address).is_err() {
        eprintln!("No browser could be opened from here: open the address yourself.");
    }
    // Some threads, so that a browser that stops reading holds up nobody else.
    std::thread::scope(|scope| {
        for _ in 0..4 {
            scope.spawn(|| answer_all(&server, &folders));
        }
    });
    Ok(ExitCode::SUCCESS)
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

fn answer_all(server: &Server, folders: &Folders) {
    // An error here is one broken connection.
    loop {
        if let Ok(request) = server.recv() {
            let answer = answer(&request, folders);
            // The browser may have gone away meanwhile: nobody is left to tell.
            let _ = request.respond(answer);
        }
    }
}

/// What lies at which address.
struct Folders {
    /// At `/`.
    page: PathBuf,
    /// At `/pkg/`.
    package: PathBuf,
    /// At `/sample-scans/`.
    samples: PathBuf,
}

impl Folders {
    /// The file at the path of a URL, unless there is none or it lies outside its folder.
    fn file(&self, url: &str) -> Option<PathBuf> {
        let path = url.split(['?', '#']).next()?.strip_prefix('/')?;
        let (folder, path) = match path.split_once('/') {
            Some(("pkg", rest)) => (&self.package, rest),
            Some(("sample-scans", rest)) => (&self.samples, rest),
            _ if path.is_empty() => (&self.page, "index.html"),
            _ => (&self.page, path),
        };
        // Every file served has a plain name: no escapes to decode, no `..`, no hidden files.
        let plain = |part: &str| {
            !part.is_empty()
                && !part.starts_with('.')
                && part
                    .bytes()
                    .all(|b| b.is_ascii_alphanumeric() || b"-_.".contains(&b))
        };
        let file = path.split('/').all(plain).then(|| folder.join(path))?;
        // A symbolic link must not lead out either.
        let (file, folder) = (file.canonicalize().ok()?, folder.canonicalize().ok()?);
        (file.is_file() && file.starts_with(folder)).then_some(file)
    }
}

fn answer(request: &Request, folders: &Folders) -> Response<Cursor<Vec<u8>>> {
    let host = request
        .headers()
        .iter()
        .find(|h| h.field.equiv("Host"))
        .map_or("", |h| h.value.as_str());
    match (host.split(':').next(), request.method()) {
        // One address for one shelf: the browser keeps paints of 127.0.0.1 and of localhost apart.
        (Some("localhost"), Method::Get | Method::Head) => {
            let to = format!(
                "http://{}{}",
                host.replacen("localhost", "127.0.0.1", 1),
                request.url()
            );
            plain_answer(308, "The page is at 127.0.0.1.").with_header(header("Location", &to))
        }
        // Any other name is another site's, made to point here.
        (Some("127.0.0.1"), Method::Get | Method::Head) => {
            match folders.file(request.url()).map(|f| (fs::read(&f), f)) {
                Some((Ok(bytes), file)) => whole_answer(200, bytes, content_type(&file)),
                _ => plain_answer(404, "There is nothing at this address."),
            }
        }
        (Some("127.0.0.1" | "localhost"), _) => plain_answer(405, "Files can only be fetched.")
            .with_header(header("Allow", "GET, HEAD")),
        _ => plain_answer(421, "This server answers to 127.0.0.1 only."),
    }
}

fn plain_answer(status: u16, words: &str) -> Response<Cursor<Vec<u8>>> {
    whole_answer(
        status,
        words.as_bytes().to_vec(),
        "text/plain; charset=utf-8",
    )
}

fn whole_answer(status: u16, body: Vec<u8>, kind: &str) -> Response<Cursor<Vec<u8>>> {
    let mut answer = Response::from_data(body)
        .with_status_code(status)
        .with_chunked_threshold(usize::MAX);
    answer.add_header(header("Content-Type", kind));
    for (name, value) in HEADERS {
        answer.add_header(header(name, value));
    }
    answer
}

/// A header; characters that cannot stand in one are dropped.
fn header(name: &str, value: &str) -> Header {
    let value: String = value.chars().filter(|c| matches!(c, ' '..='~')).collect();
    Header::from_bytes(name, value).expect("printable ASCII is a valid header")
}

fn content_type(file: &Path) -> &'static str {
    match file.extension().and_then(|ext| ext.to_str()) {
        Some("html") => "text/html; charset=utf-8",
        Some("css") => "text/css; charset=utf-8",
        Some("js" | "mjs") => "text/javascript; charset=utf-8",
        Some("json") => "application/json",
        Some("webmanifest") => "application/manifest+json",
        Some("wasm") => "application/wasm",
        Some("svg") => "image/svg+xml",
        Some("png") => "image/png",
        Some("jpg" | "jpeg") => "image/jpeg",
        Some("tif" | "tiff") => "image/tiff",
        Some("txt" | "md" | "ts") => "text/plain; charset=utf-8",
        _ => "application/octet-stream",
    }
}
