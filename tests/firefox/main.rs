//! The main path in real headless Firefox, from the real server: the other engine that painters have.
//!
//! Needs Firefox (`tests/run` installs it on Debian); without it these tests fail and say so.

mod bidi;
#[path = "../support/native.rs"]
mod native;
#[path = "../support/samples.rs"]
mod samples;
#[path = "../browser/server.rs"]
mod server;

use std::fs;
use std::path::PathBuf;

use bidi::{Browser, Folder};
use native::{json_file, native_record, native_records, unlabelled};
use serde_json::{Value, json};
use server::Server;

/// The page on a new profile. The folder has to outlive the browser.
fn open() -> (Server, Folder, Browser) {
    let server = Server::start();
    let profile = Folder::new("firefox");
    let browser = Browser::open(&profile, &server.origin);
    (server, profile, browser)
}

/// Whether a scan has been read and could be kept.
const READ: &str = "(!document.querySelector('#card').hidden && !document.querySelector('#card [data-do=keep]').disabled)";

/// Saves the pigment file of the card that is open.
#[track_caller]
fn export(page: &mut Browser) -> PathBuf {
    let fold = "#card details[data-fold=export]";
    if page.evaluate(&format!("!document.querySelector('{fold}').open")) == true {
        page.click(&format!("{fold} > summary"));
    }
    page.click(&format!("{fold} [data-do=export]"));
    page.download()
}

/// Goes to a place by its link.
#[track_caller]
fn go(page: &mut Browser, place: &str) {
    page.click(&format!("a[data-place={place}]"));
    page.wait(&format!(
        "document.querySelector('a[data-place={place}][aria-current=page]') !== null"
    ));
}

#[track_caller]
fn shelf_has(page: &mut Browser, count: usize) {
    go(page, "tubes");
    page.wait(&format!(
        "document.querySelectorAll('#tubes [data-kept]').length === {count}"
    ));
}

/// Text of what a selector names, with plain minus signs.
#[track_caller]
fn text(page: &mut Browser, selector: &str) -> String {
    let found = page.evaluate(&format!(
        "document.querySelector({}).textContent.replaceAll('\\u2212', '-')",
        json!(selector)
    ));
    found.as_str().expect("text").to_owned()
}

#[test]
fn the_watch_notices_what_no_user_may_meet() {
    let (_server, _profile, mut page) = open();
    page.forgive("");
    for trouble in [
        "console.error('oh')",
        "setTimeout(() => { throw new Error('ah') }, 0), 1",
        "fetch('http://127.0.0.1:9/').catch(() => 1)",
        "fetch('/nothing-here').then(() => 1)",
        "document.body.setAttribute('style', 'color: red'), 1",
        "Promise.reject(new Error('eh')), 1",
    ] {
        let before = page.forgiven();
        page.evaluate(trouble);
        page.evaluate("new Promise((done) => setTimeout(() => done(1), 200))");
        assert!(page.forgiven() > before, "unnoticed: {trouble}");
    }
    page.close();
}

#[test]
fn the_first_screen_shows_a_film_that_can_be_pulled() {
    let (server, _profile, mut page) = open();
    page.wait("document.querySelector('#start [data-say=headline]').textContent");
    page.wait_for_text("It stays on this computer.");
    // The watch sees into the worker too (and lets no request leave this origin).
    for part in [
        "/worker.js",
        "/pkg/twoground_bg.wasm",
        "/sample-scans/samples.json",
    ] {
        let address = format!("{}{part}", server.origin);
        assert!(page.requests().contains(&address), "{part}");
    }
    let build = "document.querySelector('#start .pull output').textContent";
    let band = "document.querySelector('#start [data-part=band]').innerHTML";
    let (was, drawn) = (page.evaluate(build), page.evaluate(band));
    let [x, y] = page.middle("#start-pull");
    page.drag([x, y], [x + 150.0, y]);
    page.wait(&format!("{build} !== {was} && {band} !== {drawn}"));

    // By key too. WebDriver's code points: PageDown, the arrow to the right.
    page.evaluate("document.querySelector('#start-pull').focus()");
    for key in ["\u{e00f}", "\u{e014}"] {
        let (was, drawn) = (page.evaluate(build), page.evaluate(band));
        page.keys(key);
        page.wait(&format!("{build} !== {was} && {band} !== {drawn}"));
    }
    page.screenshot("firefox-first-screen");
    page.close();
}

#[test]
fn a_scan_becomes_a_paint_that_is_kept_and_travels() {
    const NAME: &str = "<b onclick=alert(1)>Marsh</b> & \"brown\"";
    let (server, profile, mut page) = open();
    let scan = &samples::samples()[0].scan;

    // Read: to the last printed digit what the command reads.
    page.upload("#scan", std::slice::from_ref(scan));
    page.wait(READ);
    page.screenshot("firefox-card");
    let found = unlabelled(json_file(&export(&mut page)));
    assert_eq!(found, native_record(scan));

    // A film's edge moved by mouse is sampled and fitted again at once.
    let [x, y] = page.middle("#card [data-grip=film-1-top] .knob");
    page.drag([x, y], [x, y + 12.0]);
    page.wait("!document.querySelector('#card .busy')");
    let moved = unlabelled(json_file(&export(&mut page)));
    assert_ne!(moved["absorption"], found["absorption"]);

    // Kept, with a name that is text and no markup, and one step from its first prediction.
    page.click("#card input[name=name]");
    page.keys(NAME);
    page.click("#card [data-do=keep]");
    page.wait_for_text("Kept on this computer.");
    page.click("#card [data-say=keep] button");
    page.wait("document.querySelector('#picture [data-film][aria-pressed=true] .name')");
    assert!(text(&mut page, "#picture [data-film] .name").contains(NAME));
    let colours = "[...document.querySelectorAll('#picture .band path:not(.notch)')].map((p) => p.getAttribute('fill')).join()";
    let drawn = page.wait(colours);
    let [x, y] = page.middle("#picture .pull input[type=range]");
    page.drag([x, y], [x + 60.0, y]);
    page.wait(&format!("{colours} !== {drawn}"));
    page.wait("document.querySelector('#picture [data-say=saved]').textContent === 'Saved on this computer.'");
    let drawn = page.evaluate(colours);
    page.screenshot("firefox-picture");

    go(&mut page, "cards");
    let exported = fs::read_to_string(export(&mut page)).expect("the exported file");
    let record: Value = serde_json::from_str(&exported).expect("it is JSON");
    assert_eq!(record["paint"]["name"], NAME);
    assert_eq!(unlabelled(record), moved);
    shelf_has(&mut page, 1);
    assert_eq!(text(&mut page, "#tubes [data-kept] h2"), NAME);
    page.screenshot("firefox-tubes");

    // Still there when the page is loaded again, and when the browser is started again.
    page.reload();
    shelf_has(&mut page, 1);
    page.close();
    let mut page = Browser::open(&profile, &server.origin);
    shelf_has(&mut page, 1);
    page.click("#tubes [data-kept] button[aria-label^=Export]");
    let again = page.download();
    assert_eq!(fs::read_to_string(&again).expect("the file"), exported);
    go(&mut page, "picture");
    page.wait(&format!("{colours} === {drawn}"));

    // Deleting asks first. The file brings the paint back as it was.
    shelf_has(&mut page, 1);
    page.click("#tubes [data-kept] button[aria-label^=Delete]");
    page.click("#delete button[value=yes]");
    shelf_has(&mut page, 0);
    page.upload("#pigment", &[again]);
    shelf_has(&mut page, 1);
    page.click("#tubes [data-kept] button[aria-label^=Export]");
    assert_eq!(
        fs::read_to_string(page.download()).expect("the file"),
        exported
    );
    page.close();
}

#[test]
fn every_sample_reads_as_the_command_reads_it() {
    let (_server, _profile, mut page) = open();
    page.wait("document.querySelector('#start [data-say=headline]').textContent");
    for (place, sample) in samples::samples().iter().enumerate() {
        let pigment = json_file(&sample.pigment);
        page.click(&format!(
            "#start [data-part=samples] > :nth-child({})",
            place + 1
        ));
        page.wait(&format!(
            "document.querySelector('#start [data-say=which]').textContent.includes({})",
            pigment["paint"]["name"]
        ));
        page.click("#sample-scan");
        // The card of the paint that was chosen, under its label.
        page.wait(&format!(
            "{READ} && document.querySelector('#card input[name=name]').value === {}",
            pigment["paint"]["name"]
        ));
        let read = unlabelled(json_file(&export(&mut page)));
        let name = sample.scan.display();
        assert_eq!(read, unlabelled(pigment), "{name}");
        let records = native_records(&sample.scan, &sample.scanner);
        assert_eq!(read, records[sample.card], "{name}");
        page.click("#card [data-do=another]");
        page.wait("!document.querySelector('#start').hidden");
    }
    page.close();
}

#[test]
fn a_film_lies_over_the_sample_painting_under_glass() {
    const JUG: &str =
        "((name) => { const c = document.querySelector(`#glass [data-canvas=${name}]`);
       const o = new OffscreenCanvas(8, 8).getContext('2d');
       o.drawImage(c, 0.32 * c.width - 4, 0.5 * c.height - 4, 8, 8, 0, 0, 8, 8);
       return [...o.getImageData(0, 0, 8, 8).data].reduce((sum, v) => sum + v, 0) / 256; })";
    let (_server, _profile, mut page) = open();
    go(&mut page, "tubes");
    page.upload("#pigment", &[samples::samples()[0].pigment.clone()]);
    shelf_has(&mut page, 1);
    go(&mut page, "picture");
    page.wait("document.querySelector('#picture [data-say=saved]').textContent === 'Saved on this computer.'");
    page.click("#picture a[href='#glass']");
    page.click("[data-do=glass-sample]");
    page.wait("!document.querySelector('#glass [data-part=open]').hidden && document.querySelector('#glass [data-canvas=seen]').width > 200");
    // The film darkens what lies under it; pulled thicker, more.
    page.wait(&format!("{JUG}('seen') < {JUG}('bare') - 5"));
    page.screenshot("firefox-glass");
    let before = page.evaluate(&format!("{JUG}('seen')"));
    let [x, y] = page.middle("#glass-pull");
    page.drag([x, y], [x + 60.0, y]);
    page.wait(&format!("{JUG}('seen') < {before} - 2"));
    page.close();
}
