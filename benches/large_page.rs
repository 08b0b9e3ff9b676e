//! A whole A4 page at 600 dpi and 16 bits with four cards on it, natively and in headless Chromium side by side:
//! `cargo bench --bench large_page`. Everything after decoding together should take no longer than decoding.
//!
//! Both run what the page runs, [`OpenScan`], in a process of their own, so that the memory is theirs. The scan is
//! rendered once, which takes some minutes, and kept in `target/tmp`.

#![allow(clippy::print_stdout)]

use std::{
    fs,
    path::{Path, PathBuf},
    process::Command,
    time::Instant,
};

use serde_json::{Value, json};
use twoground::{
    page::OpenScan,
    simulate::{
        Scene, render,
        samples::samples,
        scene::{File, FileKind, Page},
        space::Space,
    },
};

#[allow(dead_code, reason = "the tests use all of it")]
#[path = "../tests/browser/devtools.rs"]
mod devtools;
#[path = "../tests/browser/server.rs"]
mod server;

/// What is timed, in this order.
const STAGES: [&str; 6] = ["decode", "find", "sample", "fit", "view", "picture"];
/// Each is the best of so many.
const TURNS: usize = 3;
/// Asks this program to time itself on one file.
const ALONE: &str = "--alone";

fn main() {
    let arguments: Vec<String> = std::env::args().collect();
    if let Some(at) = arguments.iter().position(|word| word == ALONE) {
        println!("{}", alone(Path::new(&arguments[at + 1])));
        return;
    }
    let page = page();
    let native = native(&page);
    let browser = browser(&page);
    println!("ms, best of {TURNS}     native    browser");
    for stage in STAGES {
        row(stage, ms(&native, stage), ms(&browser, stage));
    }
    let after = |of: &Value| STAGES[1..].iter().map(|stage| ms(of, stage)).sum::<f64>();
    row("all but decode", after(&native), after(&browser));
    let share = |of: &Value| 100.0 * after(of) / ms(of, STAGES[0]);
    row("that, % of decode", share(&native), share(&browser));
    let megabytes = |bytes: &Value| bytes.as_f64().expect("bytes") / 1e6;
    row(
        "MB at most",
        megabytes(&native["bytes"]),
        megabytes(&browser["bytes"]),
    );
    println!(
        "MB of WebAssembly at most: {:.0}",
        megabytes(&browser["wasm_bytes"])
    );
    println!("cards: {} and {}", native["cards"], browser["cards"]);
}

fn row(name: &str, native: f64, browser: f64) {
    println!("{name:16} {native:10.0} {browser:10.0}");
}

fn ms(of: &Value, stage: &str) -> f64 {
    of["ms"][stage].as_f64().expect("a time")
}

/// The scan's file, rendered where it is not there yet.
fn page() -> PathBuf {
    let path = Path::new(env!("CARGO_TARGET_TMPDIR")).join("large-page.png");
    if path.is_file() {
        println!(
            "{} is there already; take it away to render it again",
            path.display()
        );
    } else {
        let bytes = render(&scene()).bytes().expect("a scan");
        fs::write(&path, bytes).expect("a file in target");
    }
    path
}

/// Four sample cards on an A4 page, each turned its own way, with the noise of a plain scanner.
fn scene() -> Scene {
    let mut all = samples();
    all.retain(|sample| {
        let stems = ["lantern-gold", "grey-earth", "kelp-green", "storm-blue"];
        stems.contains(&sample.stem)
    });
    let mut scene = all[0].scene.clone();
    scene.cards = all
        .into_iter()
        .flat_map(|sample| sample.scene.cards)
        .collect();
    let places = [
        ([54.0, 74.0], -1.2),
        ([157.0, 74.0], 0.8),
        ([54.0, 222.0], 6.4),
        ([157.0, 222.0], 181.0),
    ];
    for (card, (centre, rotation)) in scene.cards.iter_mut().zip(places) {
        (card.centre, card.rotation) = (centre, rotation);
    }
    scene.page = Page {
        size: [210.0, 297.0],
        dpi: 600.0,
        ..scene.page
    };
    scene.file = File {
        space: Space::Srgb,
        tagged: true,
        kind: FileKind::Png16,
        dpi: Some(600.0),
    };
    scene
}

/// Times of a fresh process of this program.
fn native(page: &Path) -> Value {
    let output = Command::new(std::env::current_exe().expect("this program"))
        .arg(ALONE)
        .arg(page)
        .output()
        .expect("this program again");
    serde_json::from_slice(&output.stdout).expect("its times")
}

/// Reads the scan as the page does and gives the times as JSON.
fn alone(page: &Path) -> Value {
    let bytes = fs::read(page).expect("the scan");
    let mut best = [f64::INFINITY; STAGES.len()];
    let mut cards = 0;
    for _ in 0..TURNS {
        let mut spent = [0.0; STAGES.len()];
        let start = Instant::now();
        let mut open = OpenScan::new(&bytes, "page.png", String::new(), false).expect("a picture");
        spent[0] = start.elapsed().as_secs_f64();
        let start = Instant::now();
        open.find();
        spent[1] = start.elapsed().as_secs_f64();
        cards = open.view().expect("a view").cards.len();
        for card in 0..cards {
            open.choose(card);
            type Step = (usize, fn(&mut OpenScan));
            let steps: [Step; 4] = [
                (2, OpenScan::sample),
                (3, OpenScan::fit),
                (4, |open| drop(open.view())),
                (5, |open| drop(open.picture().expect("a picture"))),
            ];
            for (stage, step) in steps {
                let start = Instant::now();
                step(&mut open);
                spent[stage] += start.elapsed().as_secs_f64();
            }
        }
        for (best, spent) in best.iter_mut().zip(spent) {
            *best = best.min(1000.0 * spent);
        }
    }
    let ms: serde_json::Map<String, Value> = STAGES
        .iter()
        .zip(best)
        .map(|(stage, ms)| ((*stage).to_owned(), json!(ms)))
        .collect();
    json!({"ms": ms, "cards": cards, "bytes": most_memory()})
}

/// Most memory that this process has held, in bytes; 0 where the system does not say.
fn most_memory() -> f64 {
    let status = fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find_map(|line| line.strip_prefix("VmHWM:"));
    let kilobytes = line.and_then(|line| line.trim().strip_suffix(" kB"));
    kilobytes.map_or(0.0, |n| 1024.0 * n.trim().parse::<f64>().unwrap_or(0.0))
}

/// Times in the browser, what the WebAssembly has asked for, which never shrinks, and the most memory of the page's process
/// when the page itself reads the scan.
fn browser(page: &Path) -> Value {
    let server = server::Server::start();
    let profile = devtools::Folder::new("bench");
    let mut browser = devtools::Browser::open(&profile, &server.origin);
    browser.evaluate(
        "(() => { const input = document.createElement('input'); input.type = 'file'; input.id = 'bench';
           document.body.append(input); return true; })()",
    );
    browser.upload("#bench", &[page.to_owned()]);
    let script = SCRIPT.replace("TURNS", &TURNS.to_string());
    let mut times = browser.evaluate(&script);
    browser.close();

    let profile = devtools::Folder::new("bench");
    let mut browser = devtools::Browser::open(&profile, &server.origin);
    browser.upload("#scan", &[page.to_owned()]);
    browser.wait("!document.querySelector('#card').hidden");
    times["bytes"] = browser.most_memory().into();
    browser.close();
    times
}

const SCRIPT: &str = r"
(async () => {
  const twoground = await import(new URL('pkg/twoground.js', location.href));
  const wasm = await twoground.default();
  const file = document.querySelector('#bench').files[0];
  const best = {};
  let cards = 0;
  for (let turn = 0; turn < TURNS; turn++) {
    const bytes = new Uint8Array(await file.arrayBuffer());
    const spent = {};
    const timed = (stage, step) => {
      const start = performance.now();
      const value = step();
      spent[stage] = (spent[stage] ?? 0) + performance.now() - start;
      return value;
    };
    const open = timed('decode', () => new twoground.Reading(bytes, 'page.png', '', false));
    timed('find', () => open.find());
    cards = open.view().cards.length;
    for (let card = 0; card < cards; card++) {
      open.choose(card);
      timed('sample', () => open.sample());
      timed('fit', () => open.fit());
      timed('view', () => open.view());
      timed('picture', () => open.picture().free());
    }
    open.free();
    for (const [stage, ms] of Object.entries(spent)) best[stage] = Math.min(best[stage] ?? Infinity, ms);
  }
  return { ms: best, cards, wasm_bytes: wasm.memory.buffer.byteLength };
})()";
