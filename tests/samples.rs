//! Every sample scan, read as a painter's scan is, against its truth. The samples were rendered at other anisotropies and
//! with more directions than the fit assumes.

#[path = "support/truth.rs"]
mod truth;

use serde_json::Value;
use truth::{Numbers, list, numbers, share, turned, worst_edges};
use twoground::{
    card::find,
    paint::file::Grade,
    reading::{self, Answers, Reading},
    scan::decode,
};

fn folder() -> std::path::PathBuf {
    std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-scans")
}

/// Every sample: file, reading and the truth of its card.
fn samples() -> Vec<(String, Reading, Value)> {
    let list_text =
        std::fs::read_to_string(folder().join("samples.json")).expect("the list of samples");
    let offered: Value = serde_json::from_str(&list_text).expect("JSON");
    list(&offered)
        .iter()
        .map(|sample| {
            let file = sample["scan"].as_str().expect("a file name").to_owned();
            let path = folder().join(&file);
            let scan =
                decode::decode(&std::fs::read(&path).expect("a scan"), &file).expect("a picture");
            let layouts = find::find(&scan).expect("a card");
            let truth = std::fs::read_to_string(path.with_extension("json")).expect("its truth");
            let truth: Value = serde_json::from_str(&truth).expect("JSON");
            let cards = list(&truth["cards"]);
            assert_eq!(layouts.len(), cards.len(), "{file}: so many cards");
            assert!(
                layouts.iter().all(|layout| layout.doubts.is_empty()),
                "{file} is asked about"
            );
            let card = sample["card"].as_u64().expect("a number") as usize;
            let answers = Answers {
                scanner: serde_json::from_value(sample["scanner"].clone()).expect("a kind"),
                ..Answers::default()
            };
            let reading = reading::read_card(&scan, &layouts[card], &answers).expect("a reading");
            (file, reading, cards[card].clone())
        })
        .collect()
}

#[test]
fn cards_are_found_and_predictions_hold() {
    let mut all = Numbers::default();
    for (file, reading, card) in samples() {
        let card = &card;
        let (films, stripes) = worst_edges(&reading.layout, card);
        assert!(
            films.is_some_and(|mm| mm < 1.0),
            "{file}: film edges {films:?} mm off"
        );
        assert!(
            stripes.is_some_and(|mm| mm < 1.0),
            "{file}: stripe edges {stripes:?} mm off"
        );
        let mut mine = Numbers::default();
        numbers(&reading, card, turned(&reading.layout, card), &mut mine);
        assert!(
            share(&mine.held) >= 0.9,
            "{file}: ranges held {:.3}",
            share(&mine.held)
        );
        all.errors.extend(mine.errors);
        all.held.extend(mine.held);
        all.constants_held.extend(mine.constants_held);
        all.builds_held.extend(mine.builds_held);
    }
    assert_eq!(
        all.errors.len(),
        11 * 13 * 4,
        "eleven samples, thirteen grounds, four builds"
    );
    assert!(
        share(&all.constants_held) >= 0.85,
        "K and S held {:.3}",
        share(&all.constants_held)
    );
    assert!(
        share(&all.builds_held) >= 0.85,
        "builds held {:.3}",
        share(&all.builds_held)
    );
    let median = truth::percentile(&all.errors, 0.5);
    assert!(median < 0.7, "median error {median:.2} CIEDE2000");
}

/// What each invented paint was made to be.
#[test]
fn verdicts_are_what_the_paints_were_made_for() {
    for (file, reading, card) in samples() {
        let grade = reading.record.opacity.grade.expect("a grade");
        let expected: &[Grade] = match card["paint"].as_str().expect("a name") {
            "lantern gold" | "storm blue" | "kelp green" | "net brown" | "weed amber"
            | "ink green" => &[Grade::Clear],
            "rope ochre" => &[Grade::SlightlyMilky, Grade::Veil],
            "grey earth" => &[Grade::Veil],
            "cliff rose" | "dune yellow" => &[Grade::Covering],
            "foam white" => &[Grade::HalfCovering, Grade::Covering],
            other => panic!("{other} is not known here"),
        };
        assert!(expected.contains(&grade), "{file}: {grade:?}");
    }
}

/// Upright strokes of "linen oil 1:2" above the stripes were once read as a second card.
#[test]
fn writing_is_no_card() {
    let scene = twoground::simulate::trials::scene(31021, 353.0);
    let rendered = twoground::simulate::render::render(&scene);
    let bytes = rendered.bytes().expect("a file");
    let scan = decode::decode(&bytes, "writing.png").expect("a picture");
    assert_eq!(find::find(&scan).expect("a card").len(), 1);
}
