//! A whole A4 page at 600 dpi and 16 bits with four cards on it, and predictions from kept paints, natively, in headless
//! Chromium and, where they do the same work, by general libraries, side by side: `cargo bench --bench large_page`.
//! Everything after decoding together should take no longer than decoding.
//!
//! Native and browser run what the page runs, [`OpenScan`] and [`OpenPicture`], in a process of their own, so that the memory
//! is theirs. The scan is rendered once, which takes some minutes, and kept in `target/tmp`. The general libraries are
//! those of `benches/general.py`, run by `python3`, or by what `PYTHON` names.

#![allow(clippy::print_stdout)]

use std::{
    fs,
    io::Write,
    path::{Path, PathBuf},
    process::{Command, Stdio},
    time::Instant,
};

use serde_json::{Value, json};
use twoground::{
    card::{Layout, cells, find},
    colour::Lab,
    film::table::{LEAST, MOST, NODES, Table},
    fit::{self, Optics, Prior},
    page::{Change, OpenPicture, OpenScan},
    paint::{Constants, Record, file::Surface},
    picture::{Film, Ground, Stack},
    reading::{self, Answers},
    scan::decode,
    simulate::{
        Scene, render,
        samples::samples,
        scene::{File, FileKind, Page},
        space::Space,
    },
    spectrum,
};

#[allow(dead_code, reason = "the tests use all of it")]
#[path = "../tests/browser/devtools.rs"]
mod devtools;
#[path = "../tests/browser/server.rs"]
mod server;

/// What becomes of the scan, in this order: the first is compared with all others.
const STAGES: [&str; 6] = ["decode", "find", "sample", "fit", "view", "picture"];
/// What a painter waits for on the Picture screen: one of three films over twelve colours pulled, forty tubes over them in
/// three coats, both with ranges.
const PREDICTIONS: [&str; 2] = ["pull", "tubes"];
/// One fit on the cells of a sample card, and one film over forty colours with ranges: what general libraries also do.
const ALIKE: [&str; 2] = ["one fit", "forty colours"];
/// Each is the best of so many.
const TURNS: usize = 3;
/// Asks this program to time itself on one file.
const ALONE: &str = "--alone";
/// Anisotropy that the general libraries' table holds; ours solves it.
const ANISOTROPY: f64 = 0.4;
/// A kept paint that is predicted with, and whose scan gives the cells of one fit.
const SAMPLE: &str = "grey-earth";
const PAINTS: [&str; 7] = [
    SAMPLE,
    "storm-blue",
    "lantern-gold",
    "cliff-rose",
    "kelp-green",
    "foam-white",
    "net-brown",
];

fn main() {
    let arguments: Vec<String> = std::env::args().collect();
    if let Some(at) = arguments.iter().position(|word| word == ALONE) {
        println!("{}", alone(Path::new(&arguments[at + 1])));
        return;
    }
    let page = page();
    let native = native(&page);
    let browser = browser(&page);
    let general = general(&page);
    println!(
        "ms, best of {TURNS}         native    browser  browser / native    general  general / native"
    );
    let row = |name: &str, native: f64, browser: Option<f64>, general: Option<f64>| {
        let number = |of: Option<f64>| of.map_or(String::from("-"), |of| format!("{of:.1}"));
        let times =
            |of: Option<f64>| of.map_or(String::from("-"), |of| format!("{:.2}", of / native));
        println!(
            "{name:18} {native:10.1} {:>10} {:>17} {:>10} {:>17}",
            number(browser),
            times(browser),
            number(general),
            times(general)
        );
    };
    for stage in STAGES.into_iter().chain(PREDICTIONS).chain(ALIKE) {
        let native = ms(&native, stage).expect("a time");
        row(stage, native, ms(&browser, stage), ms(&general, stage));
    }
    let after = |of: &Value| {
        STAGES[1..]
            .iter()
            .filter_map(|stage| ms(of, stage))
            .sum::<f64>()
    };
    row(
        "all but decode",
        after(&native),
        Some(after(&browser)),
        None,
    );
    let share = |of: &Value| 100.0 * after(of) / ms(of, STAGES[0]).expect("a time");
    row(
        "that, % of decode",
        share(&native),
        Some(share(&browser)),
        None,
    );
    let megabytes = |bytes: &Value| bytes.as_f64().expect("bytes") / 1e6;
    println!(
        "MB at most: native {:.0}, browser {:.0}, {:.0} of it WebAssembly",
        megabytes(&native["bytes"]),
        megabytes(&browser["bytes"]),
        megabytes(&browser["wasm_bytes"])
    );
    println!("cards: {} and {}", native["cards"], browser["cards"]);
    for said in ["versions", "off"] {
        if let Some(said) = general[said].as_str() {
            println!("general: {said}");
        }
    }
}

fn ms(of: &Value, stage: &str) -> Option<f64> {
    of["ms"][stage].as_f64()
}

/// The least time of several turns, in ms.
fn least(mut step: impl FnMut()) -> f64 {
    let times = (0..3 * TURNS).map(|_| {
        let start = Instant::now();
        step();
        1000.0 * start.elapsed().as_secs_f64()
    });
    times.fold(f64::INFINITY, f64::min)
}

fn sample(name: &str) -> Vec<u8> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-scans");
    fs::read(folder.join(name)).expect("a sample")
}

fn text(paint: &str) -> String {
    String::from_utf8(sample(&format!("{paint}.pigment.json"))).expect("text")
}

/// Forty tubes by key, each of its own name: those of one name would be readings of one tube.
fn tubes() -> Vec<(String, String)> {
    let tube = |i: usize| {
        let mut record = Record::read(&text(PAINTS[i % PAINTS.len()])).expect("a sample's record");
        record.paint.name = format!("{} {i}", record.paint.name);
        (format!("tube-{i}"), record.write())
    };
    (0..40).map(tube).collect()
}

/// What lays three films over twelve colours: nine that a new picture has, and three.
fn picture() -> Vec<Change> {
    let colours = (0..3).map(|i| Change::AddColour {
        name: String::new(),
        lab: [30.0 + 20.0 * f64::from(i), 10.0, -15.0],
        lab_sd: [0.5; 3],
        surface: Surface::Satin,
    });
    let films = (0..3).map(|i| Change::Lay {
        tube: format!("tube-{i}"),
        build: Some(0.5),
    });
    colours.chain(films).collect()
}

fn predictions() -> Value {
    let mut open = OpenPicture::new("bench");
    open.use_tubes(tubes()).expect("samples");
    for change in picture() {
        open.change(&change).expect("a change");
    }
    open.choose_film(1);
    let mut build = 0.3;
    let pull = least(|| {
        build *= 1.05;
        open.change(&Change::Build {
            film: 1,
            build,
            pulling: true,
        })
        .expect("a build");
        open.view().expect("a view");
    });
    let all = least(|| drop(open.tubes().expect("tubes")));
    json!({"pull": pull, "tubes": all})
}

/// The cells of a sample's card as a fit takes them.
fn card() -> fit::Card {
    let name = format!("{SAMPLE}.png");
    let scan = decode::decode(&sample(&name), &name).expect("a sample scan is a picture");
    let layout = find::find(&scan).expect("a card").remove(0);
    let sampled = cells::sample(&scan, &layout).expect("cells");
    reading::card_for_fit(&sampled, layout.films.len(), &Answers::default())
}

fn paint() -> Constants {
    let record = Record::read(&text(SAMPLE)).expect("a sample's record");
    record.constants().expect("constants")
}

/// As many colours as a picture may have.
fn grounds() -> Vec<Ground> {
    let ground = |i: u32| {
        let (i, hue) = (f64::from(i), 0.7 * f64::from(i));
        Ground::of(Lab::new(25.0 + 1.6 * i, 20.0 * hue.cos(), 20.0 * hue.sin()))
    };
    (0..40).map(ground).collect()
}

fn alike() -> Value {
    let card = card();
    let one = least(|| drop(fit::fit(&card, &Prior::default(), Optics::Transport)));
    let (paint, grounds) = (paint(), grounds());
    let films = [Film {
        paint: 0,
        build: 1.0,
    }];
    let forty = least(|| {
        let stack = Stack::new(&[&paint], &films).expect("a stack within reach");
        drop(grounds.iter().map(|g| stack.over(g)).collect::<Vec<_>>());
    });
    json!({"one fit": one, "forty colours": forty})
}

/// The same work by general libraries: decoding the page, squaring its cards, one fit, one film over forty colours. Empty,
/// and said, where they are not there.
fn general(page: &Path) -> Value {
    let bytes = fs::read(page).expect("the scan");
    let scan = decode::decode(&bytes, "page.png").expect("a picture");
    let layouts: Vec<Layout> = find::find(&scan).expect("cards");
    let cards = layouts
        .iter()
        .map(|card| json!({"corners": card.corners, "size": card.size}));
    let card = card();
    let paint = paint();
    let step = (MOST / LEAST).ln() / (NODES - 1) as f64;
    let nodes: Vec<f64> = (0..NODES).map(|i| LEAST.ln() + step * i as f64).collect();
    let table = |number: fn(&twoground::film::Response) -> f64| -> Vec<Vec<f64>> {
        let row = |k: &f64| {
            let at = |s: &f64| number(&Table::shared().film(k.exp(), s.exp(), ANISOTROPY));
            nodes.iter().map(at).collect()
        };
        nodes.iter().map(row).collect()
    };
    let data: Vec<Value> = card
        .data
        .iter()
        .map(|d| json!({"film": d.film, "ground": d.ground, "row": d.row, "value": d.value, "sd": d.sd}))
        .collect();
    let two = spectrum::BANDS * 2;
    let covariance: Vec<Vec<f64>> = (0..two)
        .map(|i| (0..two).map(|j| paint.covariance[(i, j)]).collect())
        .collect();
    let work = json!({
        "turns": 3 * TURNS,
        "page": page,
        "cards": cards.collect::<Vec<_>>(),
        "nodes": nodes,
        "table": {"a": table(|r| r.a), "b": table(|r| r.b), "c": table(|r| r.c)},
        "to_xyz": spectrum::to_xyz_rows(),
        "fit": {"grounds": card.grounds, "data": data, "nominal": card.nominal, "reference": card.reference},
        "paint": {"k": paint.absorption, "s": paint.scattering, "covariance": covariance},
        "grounds": grounds().iter().map(|g| g.internal).collect::<Vec<_>>(),
    });
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("benches/general.py");
    let python = std::env::var("PYTHON").unwrap_or("python3".into());
    let mut child = Command::new(python)
        .arg(script)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .expect("python3, or what PYTHON names");
    let mut stdin = child.stdin.take().expect("its input");
    stdin
        .write_all(work.to_string().as_bytes())
        .expect("it reads");
    drop(stdin);
    let output = child.wait_with_output().expect("it ends");
    serde_json::from_slice(&output.stdout)
        .unwrap_or_else(|_| json!({"off": "not compared; what was missing is above"}))
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
    let bytes = most_memory();
    let mut ms: serde_json::Map<String, Value> = STAGES
        .iter()
        .zip(best)
        .map(|(stage, ms)| ((*stage).to_owned(), json!(ms)))
        .collect();
    for more in [predictions(), alike()] {
        ms.extend(more.as_object().expect("times").clone());
    }
    json!({"ms": ms, "cards": cards, "bytes": bytes})
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
    let (keys, texts): (Vec<_>, Vec<_>) = tubes().into_iter().unzip();
    let script = script.replace("TUBES", &json!([keys, texts]).to_string());
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
  const plan = new twoground.Plan(undefined, 'bench');
  plan.use_tubes(...TUBES);
  for (const i of [0, 1, 2]) plan.change({ 'add-colour': { name: '', lab: [30 + 20 * i, 10, -15], lab_sd: [0.5, 0.5, 0.5], surface: 'satin' } });
  for (const i of [0, 1, 2]) plan.change({ lay: { tube: `tube-${i}`, build: 0.5 } });
  plan.choose_film(1);
  const least = (step) => {
    let ms = Infinity;
    for (let turn = 0; turn < 3 * TURNS; turn++) {
      const start = performance.now();
      step();
      ms = Math.min(ms, performance.now() - start);
    }
    return ms;
  };
  let build = 0.3;
  best.pull = least(() => {
    build *= 1.05;
    plan.change({ build: { film: 1, build, pulling: true } });
    plan.view();
  });
  best.tubes = least(() => plan.tubes());
  return { ms: best, cards, wasm_bytes: wasm.memory.buffer.byteLength };
})()";
