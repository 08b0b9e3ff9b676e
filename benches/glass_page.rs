//! What a painter waits for under glass while a film is pulled, in headless Chromium: `cargo bench --bench glass_page`.
//!
//! `glass` times pixels natively. Here the film's control is moved on the page, its build goes to the worker that keeps the painting,
//! the films to those that each draw some rows, and their pixels onto the canvas: from the painter's move until nearly two
//! megapixels are on it. What is left out is the painting of the page itself, which headless Chromium does at its own pace.

#![allow(clippy::print_stdout)]

use std::path::{Path, PathBuf};

use serde_json::json;

#[allow(dead_code, reason = "the tests use all of it")]
#[path = "../tests/browser/devtools.rs"]
mod devtools;
#[path = "../tests/browser/server.rs"]
mod server;

/// Turns of each pull.
const TURNS: usize = 60;
/// What is pulled, and within how many ms it is to be seen.
const STEPS: [(&str, f64); 3] = [
    ("the whole picture", 16.0),
    ("a brushed area", 16.0),
    ("two brushed areas", 16.0),
];

fn main() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-scans");
    let tubes: Vec<PathBuf> = ["lantern-gold", "storm-blue"]
        .map(|name| folder.join(format!("{name}.pigment.json")))
        .into();
    let server = server::Server::start();
    let profile = devtools::Folder::new("bench-glass");
    let mut page = devtools::Browser::open(&profile, &server.origin);
    // A fine screen, on which the sheet is as large as it gets: nearly two megapixels.
    page.call_page(
        "Emulation.setDeviceMetricsOverride",
        json!({"width": 1390, "height": 1040, "deviceScaleFactor": 2, "mobile": false}),
    );
    page.click("a[data-place=tubes]");
    page.upload("#pigment", &tubes);
    page.wait("document.querySelectorAll('#tubes [data-kept]').length === 2");
    page.click("a[data-place=picture]");
    page.wait("document.querySelectorAll('#picture [data-film]').length === 1");
    page.wait("document.querySelector('#picture [data-say=saved]').textContent === 'Saved on this computer.'");
    page.click("#picture a[href='#glass']");
    page.click("[data-do=glass-sample]");
    page.wait("document.querySelector('#glass [data-part=sheet]').dataset.took");
    let pixels = page.evaluate(
        "(() => { const c = document.querySelector('#glass [data-canvas=seen]'); return c.width * c.height; })()",
    );
    let pixels = pixels.as_f64().expect("a number");
    assert!((1.8e6..2.2e6).contains(&pixels), "{pixels}");
    println!(
        "{:.2} megapixels; ms until drawn, of {TURNS}     middle       95th    longest     wanted",
        1e-6 * pixels
    );
    for (step, (name, wanted)) in STEPS.into_iter().enumerate() {
        if step > 0 {
            page.click("#glass input[name=tool][value=brush]");
            if step > 1 {
                page.click("#glass [data-do=glass-add]");
                page.wait("document.querySelectorAll('#glass [data-area]').length === 2");
            }
            // Broad strokes over most of the painting.
            page.evaluate("document.querySelector('#glass input[name=size]').value = 100");
            for row in 0..5 {
                let at = |along: f64| {
                    format!(
                        "(() => {{ const r = document.querySelector('#glass [data-canvas=seen]').getBoundingClientRect(); return [r.x + {along} * r.width, r.y + {} * r.height]; }})()",
                        0.1 + 0.2 * f64::from(row)
                    )
                };
                page.evaluate("document.querySelector('#glass [data-part=sheet]').scrollIntoView({ block: 'center', behavior: 'instant' })");
                let [from, to] = [0.05, 0.95].map(|along| {
                    let got = page.evaluate(&at(along));
                    [0, 1].map(|i| got[i].as_f64().expect("a coordinate"))
                });
                page.drag(from, to);
            }
        }
        page.evaluate("new Promise((done) => setTimeout(() => done(1), 2500))");
        let times = page.evaluate(&SCRIPT.replace("TURNS", &TURNS.to_string()));
        let mut of: Vec<f64> = times
            .as_array()
            .expect("times")
            .iter()
            .map(|ms| ms.as_f64().expect("ms"))
            .collect();
        assert_eq!(of.len(), TURNS, "{name}");
        of.sort_by(f64::total_cmp);
        let [middle, late, longest] =
            [TURNS / 2, TURNS * 95 / 100, TURNS - 1].map(|place| of[place]);
        println!("{name:40} {middle:10.1} {late:10.1} {longest:10.1} {wanted:10.0}");
    }
    page.close();
}

const SCRIPT: &str = r"
(async () => {
  const sheet = document.querySelector('#glass [data-part=sheet]');
  const pull = document.querySelector('#glass-pull');
  // From the painter's move until the canvas has its pixels.
  const drawn = (act) => new Promise((done, failed) => {
    const start = performance.now();
    const late = setTimeout(() => failed(new Error('nothing was drawn')), 20000);
    const seen = new MutationObserver(() => {
      seen.disconnect();
      clearTimeout(late);
      done(performance.now() - start);
    });
    seen.observe(sheet, { attributes: true, attributeFilter: ['data-took'] });
    act();
  });
  const times = [];
  for (let turn = 0; turn < TURNS; turn++) {
    // As often as a screen shows it: the next move comes before the film rests and is drawn finely.
    await new Promise((done) => setTimeout(done, 30));
    times.push(await drawn(() => {
      pull.valueAsNumber = 60 + (turn % 40);
      pull.dispatchEvent(new Event('input', { bubbles: true }));
    }));
  }
  pull.dispatchEvent(new Event('change', { bubbles: true }));
  await new Promise((done) => setTimeout(done, 1000));
  return times;
})()";
