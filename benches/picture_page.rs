//! What a painter waits for on the Picture screen itself, in headless Chromium: `cargo bench --bench picture_page`.
//!
//! `picture` times the engine natively, `large_page` natively and as WebAssembly. Here a change is made on the page, goes to the
//! engine's worker and back, and is drawn and laid out, with forty tubes on the shelf, twelve colours and three films. What is
//! left out is the painting of pixels, which headless Chromium does at its own pace.

#![allow(clippy::print_stdout)]

use std::{
    fs,
    path::{Path, PathBuf},
};

use twoground::paint::Record;

#[allow(dead_code, reason = "the tests use all of it")]
#[path = "../tests/browser/devtools.rs"]
mod devtools;
#[path = "../tests/browser/server.rs"]
mod server;

const PAINTS: [&str; 7] = [
    "lantern-gold",
    "storm-blue",
    "net-brown",
    "grey-earth",
    "cliff-rose",
    "kelp-green",
    "foam-white",
];
/// Turns of each change.
const TURNS: usize = 40;
/// What is done, and within how many ms it is to be seen.
const STEPS: [(&str, f64); 5] = [
    ("pull", 16.0),
    ("order", 16.0),
    ("coats", 16.0),
    ("share", 16.0),
    ("tubes", 300.0),
];

/// Forty pigment files, each of a tube of its own.
fn tubes(folder: &Path) -> Vec<PathBuf> {
    let samples = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-scans");
    let tube = |i: usize| {
        let paint = PAINTS[i % PAINTS.len()];
        let text = fs::read_to_string(samples.join(format!("{paint}.pigment.json")));
        let mut record = Record::read(&text.expect("a sample")).expect("a sample's record");
        record.paint.name = format!("{} {i}", record.paint.name);
        let path = folder.join(format!("{i}.json"));
        fs::write(&path, record.write()).expect("a file");
        path
    };
    (0..40).map(tube).collect()
}

fn main() {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("picture-page");
    fs::create_dir_all(&folder).expect("a folder");
    let server = server::Server::start();
    let profile = devtools::Folder::new("bench");
    let mut page = devtools::Browser::open(&profile, &server.origin);
    page.click("a[data-place=tubes]");
    page.upload("#pigment", &tubes(&folder));
    page.wait("document.querySelectorAll('#tubes [data-kept]').length === 40");
    page.click("a[data-place=picture]");
    page.wait("document.querySelectorAll('#picture [data-film]').length === 1");
    for film in 2..=3 {
        page.click(&format!(
            "#picture [data-part=tubes] > :nth-child({film}) button"
        ));
        page.wait(&format!(
            "document.querySelectorAll('#picture [data-film]').length === {film}"
        ));
    }
    page.click("#picture [data-panel=underpainting]");
    page.evaluate(
        "document.querySelector('#picture form[data-part=ladder] input[name=count]').value = '3', true",
    );
    page.click("#picture form[data-part=ladder] button");
    page.wait("document.querySelectorAll('#picture [data-colour]').length === 12");
    page.click("#picture [data-film='1']");
    page.wait("document.querySelector('#picture [data-film=\"1\"][aria-pressed=true]') !== null");
    let times = page.evaluate(&SCRIPT.replace("TURNS", &TURNS.to_string()));
    page.close();
    println!("ms until laid out, of {TURNS}     middle       95th    longest     wanted");
    for (step, wanted) in STEPS {
        let mut of: Vec<f64> = times[step]
            .as_array()
            .expect("times")
            .iter()
            .map(|ms| ms.as_f64().expect("ms"))
            .collect();
        assert_eq!(of.len(), TURNS, "{step}");
        of.sort_by(f64::total_cmp);
        let [middle, late, longest] =
            [TURNS / 2, TURNS * 95 / 100, TURNS - 1].map(|place| of[place]);
        println!("{step:25} {middle:10.1} {late:10.1} {longest:10.1} {wanted:10.0}");
    }
}

const SCRIPT: &str = r"
(async () => {
  const at = (selector) => document.querySelector(`#picture ${selector}`);
  const rest = () => new Promise((done) => setTimeout(done, 60));
  // From what the painter does until the part of the screen that shows it has been drawn anew and laid out.
  const drawn = (where, act) => new Promise((done, failed) => {
    const start = performance.now();
    const late = setTimeout(() => failed(new Error(`${where} was not drawn anew`)), 20000);
    const seen = new MutationObserver(() => {
      seen.disconnect();
      clearTimeout(late);
      document.body.getBoundingClientRect();
      done(performance.now() - start);
    });
    seen.observe(at(where), { attributes: true, childList: true, characterData: true, subtree: true });
    act();
  });
  const times = {};
  const turns = async (name, where, act, before = async () => {}) => {
    times[name] = [];
    for (let turn = 0; turn < TURNS; turn++) {
      await before(turn);
      await rest();
      times[name].push(await drawn(where, () => act(turn)));
    }
  };
  const press = (selector) => at(selector).click();
  const pull = at('#picture-pull');
  await turns('pull', '[data-part=band]', (turn) => {
    // So far that the colours differ, as 8 bits show them.
    pull.valueAsNumber = 40 + 3 * turn;
    pull.dispatchEvent(new Event('input', { bubbles: true }));
  });
  pull.dispatchEvent(new Event('change', { bubbles: true }));
  await rest();
  await turns('order', '[data-part=section]', (turn) => press(`[data-do=${turn % 2 ? 'under' : 'over'}]`));
  await turns('coats', '[data-part=band]', (turn) => press(`[data-do=${turn % 2 ? 'fewer' : 'more'}]`));
  await drawn('[data-part=beside]', () => press('[data-panel=mixed]'));
  await turns('share', '[data-part=beside]', (turn) => {
    const parts = at('[data-part=parts] input');
    parts.value = String(20 + turn);
    parts.dispatchEvent(new Event('change', { bubbles: true }));
  });
  // The tubes hang on the underpainting: a colour's surface is changed, then their list is looked at.
  await turns('tubes', '[data-part=tubes]', () => press('[data-panel=all-tubes]'), async (turn) => {
    press('[data-panel=underpainting]');
    const surface = at('[data-focus=surface-0]');
    surface.value = turn % 2 ? 'glossy' : 'matt';
    await drawn('[data-part=colours]', () => surface.dispatchEvent(new Event('change', { bubbles: true })));
  });
  return times;
})()";
