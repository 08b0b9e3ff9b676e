//! What a painter waits for, stage by stage, on the sample scans: `cargo bench --bench whole_path`.

use std::{fs, path::Path};

use divan::Bencher;
use twoground::{
    card::{cells, find},
    colour::Lab,
    fit::{self, Optics, Prior},
    paint::{Constants, Record},
    picture::{Film, Ground, Stack},
    reading::{self, Answers},
    scan::{Scan, decode},
};

fn main() {
    divan::main();
}

const SCANS: [&str; 2] = ["grey-earth.png", "lantern-gold.tif"];

fn bytes(name: &str) -> Vec<u8> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-scans");
    fs::read(folder.join(name)).expect("a sample scan")
}

fn scan(name: &str) -> Scan {
    decode::decode(&bytes(name), name).expect("a sample scan is a picture")
}

#[divan::bench(args = SCANS)]
fn decode(bencher: Bencher, name: &str) {
    let bytes = bytes(name);
    bencher.bench(|| decode::decode(&bytes, name));
}

#[divan::bench(args = SCANS)]
fn find_the_card(bencher: Bencher, name: &str) {
    let scan = scan(name);
    bencher.bench(|| find::find(&scan));
}

#[divan::bench(args = SCANS)]
fn sample_the_cells(bencher: Bencher, name: &str) {
    let scan = scan(name);
    let layout = find::find(&scan).expect("a card").remove(0);
    bencher.bench(|| cells::sample(&scan, &layout));
}

#[divan::bench(args = SCANS)]
fn fit_one_card(bencher: Bencher, name: &str) {
    let scan = scan(name);
    let layout = find::find(&scan).expect("a card").remove(0);
    let sampled = cells::sample(&scan, &layout).expect("cells");
    let card = reading::card_for_fit(&sampled, layout.films.len(), &Answers::default());
    bencher.bench(|| fit::fit(&card, &Prior::default(), Optics::Transport));
}

fn paint(name: &str) -> Constants {
    let file = bytes(&format!("{name}.pigment.json"));
    let text = String::from_utf8(file).expect("text");
    let record = Record::read(&text).expect("a sample's record");
    record.constants().expect("constants")
}

/// As many colours as a picture may have.
fn grounds() -> Vec<Ground> {
    (0..40)
        .map(|i| {
            let hue = f64::from(i) * 0.7;
            Ground::of(Lab::new(
                25.0 + 1.6 * f64::from(i),
                20.0 * hue.cos(),
                20.0 * hue.sin(),
            ))
        })
        .collect()
}

#[divan::bench(args = [1, 2, 3])]
fn films_over_forty_colours_with_ranges(bencher: Bencher, films: usize) {
    let paints = ["lantern-gold", "storm-blue", "grey-earth"].map(paint);
    let paints: Vec<&Constants> = paints.iter().collect();
    let films: Vec<Film> = (0..films).map(|paint| Film { paint, build: 1.0 }).collect();
    let grounds = grounds();
    bencher.bench(|| {
        let stack = Stack::new(&paints, &films).expect("a stack within reach");
        grounds.iter().map(|g| stack.over(g)).collect::<Vec<_>>()
    });
}
