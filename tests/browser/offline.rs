//! Without a network, and from one version of the page to the next.

use std::fs;
use std::net::{Ipv4Addr, TcpListener};
use std::path::Path;
use std::process::Command;

use tower_http::services::ServeDir;

use super::*;

/// A controlled page is one that the browser can show again by itself.
const KEPT: &str = "navigator.serviceWorker.controller !== null";

#[test]
fn the_page_opens_without_a_network_after_the_first_visit() {
    let (server, _profile, mut page) = open();
    page.wait(KEPT);
    let origin = server.origin.clone();
    drop(server);
    // The browser itself grumbles when it looks for a newer version and finds nobody.
    page.forgive("ERR_CONNECTION_REFUSED");
    page.forgive("offline.js");
    // By its file's name as well, as a bookmark may have it.
    let named = format!("{origin}/index.html");
    page.go(&named);
    page.reload();
    page.click("#start [data-part=samples] > :nth-child(2)");
    page.click("#sample-scan");
    page.wait(READ);
    page.click("#card [data-do=keep]");
    page.wait_for_text("Kept on this computer.");
    go(&mut page, "picture");
    picture::picture_has(&mut page, 1);
    shelf_has(&mut page, 1);
    page.close();
}

/// Serves a folder as any web server would. Gives the address.
fn serve(folder: &Path) -> String {
    let listener = TcpListener::bind((Ipv4Addr::LOCALHOST, 0)).expect("a free port");
    let address = listener.local_addr().expect("its address");
    listener.set_nonblocking(true).expect("a socket");
    let site = axum::Router::new().fallback_service(ServeDir::new(folder));
    std::thread::spawn(move || {
        tokio::runtime::Builder::new_current_thread()
            .enable_io()
            .build()
            .expect("a runtime")
            .block_on(async {
                let listener = tokio::net::TcpListener::from_std(listener).expect("a listener");
                axum::serve(listener, site).await
            })
    });
    format!("http://{address}")
}

#[test]
fn the_page_runs_from_any_server_and_a_newer_version_waits_until_it_is_asked_for() {
    let folder = Folder::new("site");
    let output = Command::new(env!("CARGO_BIN_EXE_twoground"))
        .arg("site")
        .arg(folder.path())
        .output()
        .expect("the program starts");
    assert!(output.status.success(), "{output:?}");
    let origin = serve(folder.path());
    let profile = Folder::new("profile");
    let mut page = Browser::open(&profile, &origin);
    page.wait(KEPT);
    read(&mut page, &samples::samples()[0].scan);

    // One letter of one file, and the list that every build writes anew.
    let change = |name: &str, from: &str, to: &str| {
        let path = folder.path().join(name);
        let text = fs::read_to_string(&path).expect("a file of the page");
        assert!(text.contains(from), "{name} has {from}");
        fs::write(&path, text.replacen(from, to, 1)).expect("it can be changed");
    };
    change("index.html", ">How sure</a>", ">How very sure</a>");
    change(
        "offline-files.js",
        "\"version\": \"",
        "\"version\": \"newer-",
    );
    page.evaluate(
        "navigator.serviceWorker.getRegistration().then((kept) => kept.update()).then(() => 1)",
    );
    page.wait("!document.querySelector('#newer').hidden");
    let first = page.window();
    page.new_page();
    page.go(&origin);
    page.wait("!document.querySelector('#newer').hidden");
    let other = page.window();
    // Chromium keeps the older version for minutes where it is asked for a file just as it is to end while it is watched.
    page.wait("document.querySelector('#start [data-say=headline]').textContent");
    page.turn_to(&first);
    // What is at work stays, the scan in hand too.
    assert_eq!(page.evaluate(READ), true);
    let sure = "document.querySelector('a[data-place=sure]')?.textContent";
    assert_eq!(page.evaluate(sure), "How sure");
    page.click("#newer [data-do=newer]");
    page.wait(&format!("{sure} === 'How very sure'"));
    page.wait("document.querySelector('#newer')?.hidden");
    page.wait("caches.keys().then((names) => names.length === 1)");
    // The other window, whose parts no longer fit together, has been loaded again or asks for it.
    page.turn_to(&other);
    page.wait(&format!(
        "{sure} === 'How very sure' || document.querySelector('#newer [data-do=newer]').textContent === 'Load again'"
    ));
    if page.evaluate(sure) != "How very sure" {
        page.click("#newer [data-do=newer]");
        page.wait(&format!("{sure} === 'How very sure'"));
    }
    page.close();
}
