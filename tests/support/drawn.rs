//! Cards of given paints, rendered as scans and read as a painter's are.
#![allow(
    unreachable_pub,
    missing_docs,
    dead_code,
    reason = "shared by test programs that use different parts"
)]

use twoground::{
    card::find,
    paint::Record,
    reading::{self, Answers, Reading},
    scan::decode,
    simulate::{InventedPaint, Scene, paints, render, troubles},
};

/// A careful card of one paint on a good scanner, films of the given builds from top to bottom.
///
/// # Panics
/// For more films than [`MOST`].
pub fn scene(paint: InventedPaint, anisotropy: f64, builds: &[f64]) -> Scene {
    let mut scene = troubles::plain(SEED, 110.0);
    scene.light.anisotropy = anisotropy;
    let card = &mut scene.cards[0];
    card.paint = paint;
    assert!(
        builds.len() <= card.films.len(),
        "this card has room for {}",
        card.films.len()
    );
    card.films.truncate(builds.len());
    for (film, build) in card.films.iter_mut().zip(builds) {
        film.build = *build;
    }
    scene
}

/// A card with room for four films.
const SEED: u64 = 5;

/// Reads the only card of a scene.
pub fn read(scene: &Scene, answers: &Answers) -> Reading {
    let bytes = render(scene).bytes().expect("a file");
    let scan = decode::decode(&bytes, "card.png").expect("a picture");
    let cards = find::find(&scan).expect("a card");
    assert_eq!(cards.len(), 1, "one card");
    reading::read_card(&scan, &cards[0], answers).expect("a reading")
}

/// What is kept of a reading: written and read again.
pub fn kept(reading: &Reading) -> Record {
    Record::read(&reading.record.write()).expect("a record that was just written")
}

/// A kept paint from a card of three films.
pub fn paint(name: &str, anisotropy: f64) -> Record {
    let paint = paints::named(name).expect("an invented paint");
    kept(&read(
        &scene(paint, anisotropy, &[0.46, 1.0, 2.1]),
        &Answers::default(),
    ))
}
