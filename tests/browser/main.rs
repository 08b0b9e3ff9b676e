//! The page in real headless Chromium, from the real server: everything a painter does on it.
//!
//! Needs Chromium (`tests/run` installs it on Debian); without it these tests fail and say so.

mod access;
mod corrections;
mod devtools;
mod faults;
mod glass;
mod offline;
mod paper;
mod picture;
mod server;
mod shelf;

#[path = "../support/bad_scans.rs"]
mod bad_scans;
#[path = "../support/native.rs"]
mod native;
#[path = "../support/samples.rs"]
mod samples;

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use devtools::{Browser, Folder};
use native::{json_file, native_record, native_record_by, native_records, unlabelled};
use serde_json::{Value, json};
use server::Server;

/// The page on a new profile. The folder has to outlive the browser.
fn open() -> (Server, Folder, Browser) {
    let server = Server::start();
    let profile = Folder::new("profile");
    let browser = Browser::open(&profile, &server.origin);
    (server, profile, browser)
}

/// Whether a scan has been read and could be kept.
const READ: &str = "(!document.querySelector('#card').hidden && !document.querySelector('#card [data-do=keep]').disabled)";

/// Uploads a scan and waits until it has been read.
#[track_caller]
fn read(page: &mut Browser, scan: &Path) {
    page.upload("#scan", &[scan.to_owned()]);
    page.wait(READ);
}

/// Saves the pigment file that a part of the page offers.
#[track_caller]
fn export(page: &mut Browser, part: &str) -> PathBuf {
    let fold = format!("{part} details[data-fold=export]");
    if page.evaluate(&format!("!document.querySelector('{fold}').open")) == true {
        page.click(&format!("{fold} > summary"));
    }
    page.click(&format!("{fold} [data-do=export]"));
    page.download()
}

/// Turns to another card of the scan that is open.
#[track_caller]
fn choose_card(page: &mut Browser, card: usize) {
    let button = format!("#card [data-part=cards] > :nth-child({})", card + 1);
    page.click(&button);
    page.wait(&format!(
        "document.querySelector('{button}').getAttribute('aria-pressed') === 'true'"
    ));
}

/// Goes to a place by its link.
#[track_caller]
fn go(page: &mut Browser, place: &str) {
    page.click(&format!("a[data-place={place}]"));
    page.wait(&format!(
        "document.querySelector('a[data-place={place}][aria-current=page]') !== null"
    ));
}

/// Waits until every correction made so far has been read, and gives the record.
#[track_caller]
fn corrected(page: &mut Browser) -> Value {
    page.wait("!document.querySelector('#card .busy')");
    unlabelled(json_file(&export(page, "#card")))
}

/// How many paints the shelf shows, once it has settled on this number.
#[track_caller]
fn shelf_has(page: &mut Browser, count: usize) {
    go(page, "tubes");
    page.wait(&format!(
        "document.querySelectorAll('#tubes [data-kept]').length === {count}"
    ));
}

/// Only the cells of one film have fewer pixels than before.
#[track_caller]
fn assert_pixels_of_one_film(before: &Value, after: &Value, film: u64) {
    let cells = |record: &Value| record["cells"].as_array().expect("cells").clone();
    for (before, after) in cells(before).iter().zip(cells(after)) {
        let [was, is] = [before, &after].map(|cell| cell["pixels"].as_u64().expect("a number"));
        if before["film"] == film {
            assert!(is < was, "film {film}: {was} pixels, then {is}");
        } else {
            assert_eq!(is, was, "film {}", before["film"]);
        }
    }
}

#[track_caller]
fn name_and_keep(page: &mut Browser, name: &str) {
    page.click("#card input[name=name]");
    page.type_text(name);
    page.click("#card [data-do=keep]");
    page.wait_for_text("Kept on this computer.");
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

/// What a slow line sees: the first screen stands before any of the program that computes has come.
#[test]
fn the_first_screen_is_there_before_the_program_has_loaded() {
    let (_server, _profile, mut page) = open();
    page.wait("document.querySelector('#start [data-say=headline]').textContent");
    page.call_page(
        "Page.addScriptToEvaluateOnNewDocument",
        json!({"source": "window.Worker = class extends EventTarget { postMessage() {} terminate() {} }"}),
    );
    page.reload();
    page.wait("!document.querySelector('#start').hidden");
    page.wait_for_text("Drop a scan of your card.");
    page.wait_for_text("A sample film comes here as soon as the program is loaded.");
    page.screenshot("start-before-wasm");
    page.close();
}

#[test]
fn the_first_screen_shows_a_film_that_can_be_pulled() {
    let (server, _profile, mut page) = open();
    page.wait("document.querySelector('#start [data-say=headline]').textContent");
    assert_eq!(
        page.evaluate("document.querySelectorAll('#start [data-part=samples] button').length >= 5"),
        true
    );
    page.wait_for_text("It stays on this computer.");
    // The watch sees into the worker too (and lets no request leave this origin).
    for part in [
        "/worker.js",
        "/pkg/twoground_bg.wasm",
        "/sample-scans/samples.json",
    ] {
        assert!(
            page.requests()
                .contains(&format!("{}{part}", server.origin)),
            "{part}"
        );
    }
    let build = "document.querySelector('#start .pull output').textContent";
    let band = "document.querySelector('#start [data-part=band]').innerHTML";
    let range = "document.querySelector('#start [data-say=range]').textContent";
    assert!(
        page.evaluate(range)
            .as_str()
            .is_some_and(|words| words.to_lowercase().contains("nine times in ten"))
    );

    // By key, then by pointer: the number changes, and the drawing follows.
    page.focus("#start-pull");
    for key in ["ArrowRight", "PageDown"] {
        let (was, drawn) = (page.evaluate(build), page.evaluate(band));
        page.press(key);
        page.wait(&format!("{build} !== {was} && {band} !== {drawn}"));
    }
    let (was, drawn) = (page.evaluate(build), page.evaluate(band));
    let [x, y] = page.middle("#start-pull");
    page.drag([x, y], [x + 150.0, y]);
    page.wait(&format!("{build} !== {was} && {band} !== {drawn}"));

    // Another sample, another verdict or at least another drawing.
    let drawn = page.evaluate(band);
    page.click("#start [data-part=samples] > :nth-child(2)");
    page.wait(&format!("{band} !== {drawn}"));
    page.screenshot("first-screen");
    page.close();
}

#[test]
fn nothing_on_the_first_screen_moves_while_it_comes_in_and_is_pulled() {
    let (_server, _profile, mut page) = open();
    for [width, height] in [[1280, 900], [390, 844]] {
        page.viewport(width, height);
        page.reload();
        page.wait("document.querySelectorAll('#start [data-part=samples] img').length > 0");
        page.wait("[...document.querySelectorAll('#start img')].every((image) => image.complete)");
        // Cumulative layout shift up to 0.1 counts as good: the bound of Web Vitals, from memory.
        let moved = page.evaluate(
            "new Promise((done) => {
               let sum = 0;
               new PerformanceObserver((list) => list.getEntries().forEach(({ value, hadRecentInput }) => (sum += hadRecentInput ? 0 : value))).observe({ type: 'layout-shift', buffered: true });
               setTimeout(() => done(sum), 500);
             })",
        );
        let moved = moved.as_f64().expect("a sum");
        assert!(moved < 0.1, "{width}: {moved}");
        // Where to bring a scan is seen without scrolling.
        let bottom =
            page.evaluate("document.querySelector('#sample-scan').getBoundingClientRect().bottom");
        let bottom = bottom.as_f64().expect("a height");
        assert!(bottom < f64::from(height), "{width}: {bottom}");
    }
    // However long the verdict, what is below stays.
    page.viewport(1280, 900);
    let drop = "document.querySelector('#start [data-part=drop]').getBoundingClientRect().top";
    let stood = page.evaluate(drop);
    for place in 1..=samples::samples().len() {
        page.click(&format!("#start [data-part=samples] > :nth-child({place})"));
        for key in ["Home", "PageUp", "End"] {
            let band = "document.querySelector('#start [data-part=band]').innerHTML";
            let was = page.evaluate(band);
            page.evaluate("document.querySelector('#start-pull').focus({ preventScroll: true })");
            page.press(key);
            page.wait(&format!("{band} !== {was}"));
            page.evaluate("scrollTo(0, 0)");
            assert_eq!(page.evaluate(drop), stood, "{place} {key}");
        }
    }
    page.close();
}

#[test]
fn what_is_in_focus_stays_while_answers_change_what_stands_above() {
    let (_server, _profile, mut page) = open();
    page.viewport(1280, 900);
    read(
        &mut page,
        &Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-scans/cliff-rose.png"),
    );
    // The headline is in focus first.
    page.wait("document.activeElement.matches('#card h1')");
    page.focus("#card input[name=name]");
    let name = "document.querySelector('#card input[name=name]').getBoundingClientRect().top";
    let above = "document.querySelector('#card [data-part=more]').getBoundingClientRect().height";
    let (stood, high) = (page.evaluate(name), page.evaluate(above));
    for answer in ["matt", "glossy"] {
        let high = page.evaluate(above);
        page.evaluate(&format!(
            "document.querySelector('#card input[name=surface][value={answer}]').click()"
        ));
        page.wait(&format!("{above} !== {high}"));
        let [is, was] = [&page.evaluate(name), &stood].map(|top| top.as_f64().expect("a height"));
        assert!((is - was).abs() < 1.5, "{answer}: {is} {was}");
    }
    assert_eq!(page.evaluate(above), high);
    page.close();
}

#[test]
fn a_scan_becomes_a_paint_that_is_kept_and_travels() {
    const NAME: &str = "<b onclick=alert(1)>Marsh</b> & \"brown\"";
    let (server, profile, mut page) = open();
    let scan = &samples::samples()[0].scan;

    // Read: to the last printed digit what the command reads.
    read(&mut page, scan);
    page.screenshot("card");
    let found = unlabelled(json_file(&export(&mut page, "#card")));
    assert_eq!(found, native_record(scan));

    // A film edge moved by key, another by pointer: each is sampled and fitted again at once.
    page.focus("#card [data-grip=film-0-bottom]");
    for _ in 0..4 {
        page.press("ArrowUp");
    }
    let by_key = corrected(&mut page);
    assert_pixels_of_one_film(&found, &by_key, 0);
    let [x, y] = page.middle("#card [data-grip=film-1-top] .knob");
    page.drag([x, y], [x, y + 12.0]);
    let by_pointer = corrected(&mut page);
    assert_pixels_of_one_film(&by_key, &by_pointer, 1);
    assert_ne!(found["absorption"], by_key["absorption"]);
    assert_ne!(by_key["absorption"], by_pointer["absorption"]);

    // Kept, with a name that is text and no markup, and one step from its first prediction.
    name_and_keep(&mut page, NAME);
    page.click("#card [data-say=keep] button");
    page.wait("document.querySelector('#picture [data-film][aria-pressed=true] .name')");
    go(&mut page, "cards");
    let exported = fs::read_to_string(export(&mut page, "#card")).expect("the exported file");
    let record: Value = serde_json::from_str(&exported).expect("it is JSON");
    assert_eq!(record["paint"]["name"], NAME);
    assert_eq!(unlabelled(record), by_pointer);
    shelf_has(&mut page, 1);
    assert_eq!(
        page.evaluate("document.querySelector('#tubes [data-kept] h2').textContent"),
        NAME
    );
    page.screenshot("tubes");

    // Still there when the page is loaded again, and when the browser is started again.
    page.reload();
    shelf_has(&mut page, 1);
    page.close();
    let mut page = Browser::open(&profile, &server.origin);
    shelf_has(&mut page, 1);
    page.click("#tubes [data-kept] button[aria-label^=Export]");
    let again = page.download();
    assert_eq!(fs::read_to_string(&again).expect("the file"), exported);

    // Deleting asks first.
    let delete = "#tubes [data-kept] button[aria-label^=Delete]";
    page.click(delete);
    page.click("#delete button[value=no]");
    shelf_has(&mut page, 1);
    page.click(delete);
    page.click("#delete button[value=yes]");
    shelf_has(&mut page, 0);
    page.wait_for_text("Nothing is kept yet.");

    // The file brings it back as it was.
    page.upload("#pigment", &[again]);
    shelf_has(&mut page, 1);
    page.click("#tubes [data-kept] button[aria-label^=Export]");
    let back = page.download();
    assert_eq!(fs::read_to_string(back).expect("the file"), exported);
    assert!(page.dialogs().is_empty(), "{:?}", page.dialogs());
    page.close();
}

#[test]
fn a_scan_comes_by_drop_and_a_sample_by_its_button() {
    let (_server, _profile, mut page) = open();
    let samples = samples::samples();
    page.wait("document.querySelector('#start [data-say=headline]').textContent");
    page.drop_files("#start [data-part=drop]", &[samples[0].scan.clone()]);
    page.wait(READ);
    let dropped = unlabelled(json_file(&export(&mut page, "#card")));
    assert_eq!(dropped, native_record(&samples[0].scan));

    // A sample brings its label along.
    let pigment = json_file(&samples[1].pigment);
    page.click("#card [data-do=another]");
    page.click("#start [data-part=samples] > :nth-child(2)");
    page.click("#sample-scan");
    page.wait(&format!(
        "{READ} && document.querySelector('#card input[name=name]').value === {}",
        pigment["paint"]["name"]
    ));
    let sample = unlabelled(json_file(&export(&mut page, "#card")));
    assert_eq!(sample, unlabelled(pigment));
    assert_eq!(
        sample,
        native_record_by(&samples[1].scan, &samples[1].scanner)
    );
    page.close();
}

#[test]
fn cards_of_one_scan_are_read_named_and_kept_each_by_itself() {
    let (_server, _profile, mut page) = open();
    page.wait("document.querySelector('#start [data-say=headline]').textContent");
    let samples = samples::samples();
    let together: Vec<_> = samples
        .iter()
        .enumerate()
        .filter(|(_, sample)| sample.scan.ends_with("three-cards.jpg"))
        .collect();
    assert_eq!(together.len(), 3);
    let records = native_records(&together[0].1.scan, &together[0].1.scanner);
    assert_eq!(records.len(), 3);

    // Whichever of its paints is chosen, that card is shown, and every card bears its own name.
    let (place, chosen) = together[1];
    page.click(&format!(
        "#start [data-part=samples] > :nth-child({})",
        place + 1
    ));
    let chosen_name = json_file(&chosen.pigment)["paint"]["name"].clone();
    page.wait_for_text(chosen_name.as_str().expect("a name"));
    page.wait(&format!(
        "document.querySelector('#start [data-say=which]').textContent.includes({chosen_name})"
    ));
    page.click("#sample-scan");
    page.wait(READ);
    let name = "document.querySelector('#card input[name=name]').value";
    for (_, sample) in [together[1], together[0], together[2]] {
        if sample.card != chosen.card {
            choose_card(&mut page, sample.card);
        }
        let expected = &json_file(&sample.pigment)["paint"]["name"];
        page.wait(&format!("{name} === {expected}"));
        assert_eq!(corrected(&mut page), records[sample.card]);
        page.click("#card [data-do=keep]");
        page.wait_for_text("Kept on this computer.");
    }
    page.screenshot("three-cards");
    shelf_has(&mut page, 3);
    page.close();
}

#[test]
fn a_reading_that_was_not_kept_can_be_gone_back_to() {
    let (_server, _profile, mut page) = open();
    let samples = samples::samples();
    let aside = "!document.querySelector('#card [data-part=aside]').hidden";
    let named = "document.querySelector('#card input[name=name]').value";
    read(&mut page, &samples[0].scan);
    page.focus("#card [data-grip=film-0-bottom]");
    page.press("ArrowUp");
    let first = corrected(&mut page);
    page.click("#card input[name=name]");
    page.type_text("Not kept yet");

    // Another scan dropped on it: the first waits, correction, label and all.
    let second = native_record(&samples[3].scan);
    page.drop_files("#card", &[samples[3].scan.clone()]);
    page.wait(aside);
    page.wait_for_text("was not kept");
    assert_eq!(corrected(&mut page), second);
    assert_eq!(page.evaluate(named), "");
    page.click("#card [data-do=back]");
    page.wait(&format!("{named} === 'Not kept yet'"));
    assert_eq!(corrected(&mut page), first);

    // Now the second waits. Kept, the first does not.
    page.click("#card [data-do=keep]");
    page.wait_for_text("Kept on this computer.");
    page.click("#card [data-do=back]");
    page.wait(&format!("{named} === ''"));
    assert_eq!(corrected(&mut page), second);
    assert_eq!(page.evaluate(aside), false);

    // Left by its button, it waits on the first screen.
    page.click("#card [data-do=another]");
    page.wait("!document.querySelector('#start [data-part=aside]').hidden");
    page.click("#start [data-do=back]");
    page.wait(READ);
    assert_eq!(corrected(&mut page), second);
    page.close();
}

#[test]
fn what_the_painter_answers_is_in_the_record_and_counts() {
    let (_server, _profile, mut page) = open();
    read(&mut page, &samples::samples()[0].scan);
    let before = corrected(&mut page);
    assert_eq!(before["surface"], "glossy");
    for answer in ["surface][value=matt", "dry][value=no", "sealed][value=no"] {
        page.click(&format!("#card input[name={answer}]"));
    }
    let after = corrected(&mut page);
    assert_eq!(after["surface"], "matt");
    assert_eq!(after["dry"], "no");
    assert_eq!(after["stripes"]["sealed"], false);
    // A dull surface and bare paper make the constants less sure, and dullness is taken off the cells.
    let sd = |record: &Value| {
        let list = record["uncertainty"]["log_scattering_sd"]
            .as_array()
            .expect("a list")
            .clone();
        list.iter()
            .map(|v| v.as_f64().expect("a number"))
            .sum::<f64>()
    };
    assert!(sd(&after) > sd(&before));
    assert_ne!(after["absorption"], before["absorption"]);
    page.close();
}

#[test]
fn a_long_reading_shows_its_stage_and_can_be_cancelled() {
    let (_server, _profile, mut page) = open();
    let folder = Folder::new("long");
    let file = folder.path().join("long.png");
    // 120 megapixels of nothing: within the limit, and long enough to be caught at it.
    let nothing = image::RgbImage::from_pixel(12_000, 10_000, image::Rgb([200, 200, 200]));
    nothing.save(&file).expect("a picture is written");
    page.upload("#scan", &[file]);
    page.wait("!document.querySelector('#progress').hidden");
    // The page answers while the worker works.
    page.wait(
        "document.querySelector('#progress [data-say=stage]').textContent.startsWith('Now ')",
    );
    page.click("[data-do=cancel]");
    page.wait("document.querySelector('#progress').hidden");
    // It says so, and the keys that were at the button have not fallen out of the page.
    page.wait_for_text("Stopped. What was here before stays.");
    page.wait("document.activeElement === document.querySelector('#main')");
    // And reads the next scan as if nothing had been.
    let scan = &samples::samples()[0].scan;
    read(&mut page, scan);
    assert_eq!(corrected(&mut page), native_record(scan));
    page.close();
}

/// Whatever lasts says what it is and can be stopped, also where it has no stages.
#[test]
fn what_lasts_on_the_shelf_is_told_and_can_be_stopped() {
    let (_server, _profile, mut page) = open();
    let files: Vec<PathBuf> = samples::samples()
        .into_iter()
        .take(3)
        .map(|sample| sample.pigment)
        .collect();
    shelf_has(&mut page, 0);
    page.wait_for_text("Nothing is kept yet.");
    // A disk that is slow.
    page.in_worker(
        "(() => { const open = IDBFactory.prototype.open;
           IDBFactory.prototype.open = function (...of) { const until = performance.now() + 4000; while (performance.now() < until); return open.apply(this, of); }; })()",
    );
    page.upload("#pigment", &files);
    page.wait("!document.querySelector('#progress').hidden && document.querySelector('#progress [data-say=stage]').textContent === 'Keeping them …'");
    page.click("[data-do=cancel]");
    page.wait("document.querySelector('#progress').hidden");
    page.wait_for_text("Either all of it was done or nothing: Tubes shows which.");
    // The place that is shown already is shown anew.
    page.click("nav a[data-place=tubes]");
    page.wait_for_text("Nothing is kept yet.");
    page.upload("#pigment", &files);
    shelf_has(&mut page, 3);
    page.close();
}

#[test]
fn the_kind_of_scanner_counts_and_is_remembered_for_the_next_scan() {
    let (_server, _profile, mut page) = open();
    let scan = &samples::samples()[0].scan;
    read(&mut page, scan);
    page.click("#card [data-fold=scanner] summary");
    page.click("#card input[name=scanner][value=three_lights]");
    let told = unlabelled(corrected(&mut page));
    assert_eq!(told["provenance"]["scanner"], "three_lights");
    assert_eq!(told, native_record_by(scan, "three-lights"));
    page.click("#card [data-do=another]");
    page.wait("!document.querySelector('#start').hidden");
    read(&mut page, scan);
    assert_eq!(unlabelled(json_file(&export(&mut page, "#card"))), told);
    page.close();
}

#[test]
fn every_sample_reads_as_the_command_reads_it() {
    let (_server, _profile, mut page) = open();
    for sample in samples::samples() {
        read(&mut page, &sample.scan);
        let records = native_records(&sample.scan, "unknown");
        if sample.card > 0 {
            choose_card(&mut page, sample.card);
        }
        assert_eq!(
            corrected(&mut page),
            records[sample.card],
            "{}",
            sample.scan.display()
        );
        page.click("#card [data-do=another]");
        page.wait("!document.querySelector('#start').hidden");
    }
    page.close();
}

/// Whether what went wrong is told right below what caused it, and in sight.
fn beside(page: &mut Browser, cause: &str) {
    let told = page.evaluate(&format!(
        "(() => {{
            const [box, cause] = ['#alert', '{cause}'].map((s) => document.querySelector(s).getBoundingClientRect());
            return [box.top - cause.bottom, innerHeight - box.bottom, box.left - cause.left, box.height];
        }})()"
    ));
    let [below, in_sight, left, height] = [0, 1, 2, 3].map(|i| told[i].as_f64().expect("a length"));
    assert!((0.0..40.0).contains(&below), "{below} px below {cause}");
    assert!(in_sight >= 0.0, "{in_sight}");
    assert!(left.abs() < 1.0, "{left}");
    assert!(height < 160.0, "{height} px for a sentence");
}

/// What it stood beside before may be hidden by then: it would not be seen there.
#[test]
fn what_went_wrong_is_told_at_the_windows_edge_where_nothing_is_left_to_stand_beside() {
    let (_server, _profile, mut page) = open();
    page.wait("!document.querySelector('#start').hidden");
    let stands = page.evaluate(
        "import('./parts/beside.js').then(({ Beside }) => {
            const box = document.createElement('div');
            document.querySelector('main').append(box);
            const told = new Beside(box);
            const after = (what) => {
                document.querySelector(what).dispatchEvent(new Event('change', { bubbles: true }));
                told.settle();
                return [box.previousElementSibling?.matches('.drop') ?? false, box.checkVisibility(), box.classList.contains('near-cause')];
            };
            const beside = after('#scan');
            document.querySelector('#start').hidden = true;
            return [beside, after('#scan'), after('header a')];
        })",
    );
    assert_eq!(
        stands,
        json!([
            [true, true, true],
            [false, true, false],
            [false, true, false]
        ])
    );
    page.close();
}

#[test]
fn what_is_no_scan_gets_a_sentence_and_touches_nothing() {
    let (_server, _profile, mut page) = open();
    read(&mut page, &samples::samples()[0].scan);
    name_and_keep(&mut page, "Kept before");
    shelf_has(&mut page, 1);
    page.click("#tubes [data-kept] button[aria-label^=Export]");
    let before = fs::read(page.download()).expect("the file");

    go(&mut page, "cards");
    page.click("#card [data-do=another]");
    let folder = Folder::new("bad");
    for (name, bytes, words) in bad_scans::all() {
        let file = folder.path().join(name);
        fs::write(&file, bytes).expect("a file");
        go(&mut page, "cards");
        page.evaluate("document.querySelector('[data-do=close-alert]').click()");
        page.upload("#scan", &[file]);
        page.wait_for_text(words);
        page.wait("document.querySelector('#progress').hidden");
        beside(&mut page, "#start .drop");
    }

    // Neither do pigment files that are none.
    let good: Value = serde_json::from_slice(&before).expect("JSON");
    let changed = |field: &str, value: Value| {
        let mut bad = good.clone();
        bad[field] = value;
        bad.to_string()
    };
    for (name, text, words) in [
        ("empty.json", String::new(), "not whole JSON"),
        (
            "cut.json",
            good.to_string()[..500].to_owned(),
            "not whole JSON",
        ),
        ("list.json", "[]".to_owned(), "not an object"),
        (
            "other.json",
            changed("format", json!("recipe")),
            "another kind of file",
        ),
        (
            "newer.json",
            changed("version", json!(1000)),
            "Use a newer program",
        ),
        (
            "short.json",
            changed("absorption", json!([1.0])),
            "absorption has 1 numbers",
        ),
        (
            "odd.json",
            changed("films", json!("three")),
            "films is wrong",
        ),
    ] {
        let file = folder.path().join(name);
        fs::write(&file, text).expect("a file");
        go(&mut page, "tubes");
        page.evaluate("document.querySelector('[data-do=close-alert]').click()");
        page.upload("#pigment", &[file]);
        page.wait_for_text(words);
        page.wait_for_text(name);
        beside(&mut page, "#tubes > .head");
    }

    shelf_has(&mut page, 1);
    page.click("#tubes [data-kept] button[aria-label^=Export]");
    assert_eq!(fs::read(page.download()).expect("the file"), before);
    page.close();
}

#[test]
fn a_full_disk_is_told_and_what_is_kept_stays() {
    let (server, profile, mut page) = open();
    read(&mut page, &samples::samples()[0].scan);
    name_and_keep(&mut page, "Kept before");
    page.close();
    let mut page = Browser::open(&profile, &server.origin);
    // The copy of the page for use without a network finds no room either, and nobody misses it.
    page.forgive("exception: QuotaExceededError");
    // Before anything asks for room: the browser remembers the answer for a while.
    page.call_page(
        "Storage.overrideQuotaForOrigin",
        json!({"origin": server.origin, "quotaSize": 1}),
    );
    read(&mut page, &samples::samples()[1].scan);
    page.click("#card input[name=name]");
    page.type_text("One too many");
    page.click("#card [data-do=keep]");
    page.wait("document.querySelector('#card [data-say=keep]').textContent.includes('there is no room left')");
    // The work in hand can still be taken out.
    page.click("#card [data-say=keep] button");
    let saved = json_file(&page.download());
    assert_eq!(saved["paint"]["name"], "One too many");
    shelf_has(&mut page, 1);
    // So can a label that was typed over what is kept.
    page.click("#tubes [data-kept] button[aria-label^=Open]");
    page.wait("document.querySelector('#tube input[name=name]')?.value === 'Kept before'");
    page.click("#tube input[name=name]");
    page.type_text(", renamed");
    page.click("#tube [data-do=keep]");
    page.wait("document.querySelector('#tube [data-say=keep]').textContent.includes('there is no room left')");
    page.click("#tube [data-say=keep] button");
    let saved = json_file(&page.download());
    assert_eq!(saved["paint"]["name"], "Kept before, renamed");
    // What is deleted makes room, though Undo finds none for it: that is asked about.
    shelf_has(&mut page, 1);
    page.click("#tubes [data-kept] button[aria-label^=Delete]");
    page.click("#delete button[value=yes]");
    page.wait("document.querySelector('#delete').open && document.querySelector('#delete').textContent.includes('for good?')");
    page.click("#delete button[value=yes]");
    page.wait("document.querySelectorAll('#tubes [data-kept]').length === 0");
    page.wait("document.querySelector('#tubes [data-do=undo]').ariaDisabled === 'true'");
    page.wait_for_text("Nothing is kept yet.");
    page.close();
}

#[test]
fn a_shelf_of_a_newer_version_is_told_and_left_alone() {
    let (_server, _profile, mut page) = open();
    page.evaluate(
        "new Promise((done, failed) => {
           const asked = indexedDB.open('twoground', 1000);
           asked.onupgradeneeded = () => asked.result.createObjectStore('shelves').put('mine', 1);
           asked.onsuccess = () => { asked.result.close(); done(); };
           asked.onerror = failed; })",
    );
    page.click("a[data-place=tubes]");
    page.wait_for_text("written by a newer version of this program (VersionError)");
    let kept = page.evaluate(
        "new Promise((done, failed) => {
           const asked = indexedDB.open('twoground');
           asked.onsuccess = () => {
             const get = asked.result.transaction('shelves').objectStore('shelves').get(1);
             get.onsuccess = () => done([asked.result.version, get.result]);
           };
           asked.onerror = failed; })",
    );
    assert_eq!(kept, json!([1000, "mine"]));
    page.close();
}

#[test]
fn a_phone_shows_every_place_without_scrolling_sideways() {
    let (_server, _profile, mut page) = open();
    read(&mut page, &samples::samples()[0].scan);
    name_and_keep(&mut page, "Marsh brown");
    page.viewport(360, 740);
    for place in ["cards", "tubes", "picture", "sure", "cautions"] {
        page.evaluate(&format!("location.hash = '{place}'"));
        page.wait(&format!(
            "document.querySelector('[data-place={place}]').getAttribute('aria-current') === 'page'"
        ));
        page.evaluate("new Promise((done) => setTimeout(() => done(1), 300))");
        page.screenshot(&format!("phone-{place}"));
        assert_eq!(
            page.evaluate(
                "document.documentElement.scrollWidth - document.documentElement.clientWidth"
            ),
            0,
            "{place} is wider than a phone"
        );
    }
    page.close();
}

/// What a browser prints of a screen is what it says: nothing is there to be pressed, pulled or typed into.
#[test]
fn a_screen_is_printed_without_what_is_pressed() {
    let (_server, _profile, mut page) = open();
    read(&mut page, &samples::samples()[0].scan);
    let pressed = "[...document.querySelectorAll('main button, main select, main textarea, main input:not(.title, [name=name])')].filter((e) => e.checkVisibility() && e.getBoundingClientRect().width > 0 && !e.matches('.layer, .tube-row, .steps button, .lane-names button, .area')).map((e) => e.outerHTML.slice(0, 80))";
    for place in ["cards", "tubes", "picture"] {
        go(&mut page, place);
        if place == "picture" {
            picture::picture_has(&mut page, 1);
        }
        page.call_page("Emulation.setEmulatedMedia", json!({"media": "print"}));
        assert_eq!(page.evaluate(pressed), json!([]), "{place}");
        page.call_page("Emulation.setEmulatedMedia", json!({"media": ""}));
    }
    page.wait("document.querySelector('#picture [data-say=headline]').textContent");
    page.close();
}
