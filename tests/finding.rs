//! Cards that the finder once read wrongly without a word, and rows of like cards, beside where they were drawn.

#[path = "support/truth.rs"]
mod truth;

use serde_json::Value;
use truth::{list, worst_edges};
use twoground::{
    card::{Layout, find},
    scan::decode,
    simulate::{
        Scene, render,
        samples::samples,
        scene::{Card, Page},
        trials, troubles,
    },
    spectrum::BANDS,
};

/// What was found, and the truth of every card.
fn read(scene: &Scene) -> (Vec<Layout>, Vec<Value>) {
    let rendered = render(scene);
    let bytes = rendered.bytes().expect("a file");
    let scan = decode::decode(&bytes, "scan").expect("a picture");
    let truth: Value = serde_json::from_str(&rendered.truth.json()).expect("JSON");
    (
        find::find(&scan).expect("a card"),
        list(&truth["cards"]).to_vec(),
    )
}

/// How far the worst edge of the layout that lies nearest to a card is off, in mm; none where the counts differ.
fn worst(found: &[Layout], card: &Value) -> Option<f64> {
    let edges = found.iter().filter_map(|layout| {
        let (films, stripes) = worst_edges(layout, card);
        Some(films?.max(stripes?))
    });
    edges.min_by(f64::total_cmp)
}

fn all_right(scene: &Scene, what: &str) {
    let (found, cards) = read(scene);
    assert_eq!(found.len(), cards.len(), "{what}: so many cards");
    for (i, card) in cards.iter().enumerate() {
        let off = worst(&found, card);
        assert!(off.is_some_and(|mm| mm < 1.0), "{what}, card {i}: {off:?}");
    }
}

/// Stripes in line with another card's films were followed onto that card, and the card was lost.
#[test]
fn stripes_end_where_their_card_does() {
    all_right(&trials::scene(20_113, 130.0), "20113");
}

/// The outermost stripe kept the place where a film beyond it ends.
#[test]
fn an_outer_edge_is_looked_for_further_away() {
    all_right(&trials::scene(50_059, 130.0), "50059");
    all_right(&trials::scene(91_561, 130.0), "91561");
}

/// Four dark films of one length end more plainly, 4 mm further out, than the black does in the rows between them.
#[test]
fn an_outer_edge_is_not_where_films_end() {
    all_right(&trials::scene(990_029, 125.0), "990029");
}

/// The edge of a stripe was none because tape crosses it, and the stripe was lost.
#[test]
fn an_edge_crossed_by_tape_is_still_an_edge() {
    all_right(&trials::scene(91_532, 130.0), "91532");
}

/// Six cards with the same stripes, in two rows on a lid of this reflectance.
fn grid(lid: f64, gap: f64, turn: f64) -> Scene {
    let sample = samples()
        .into_iter()
        .find(|sample| sample.stem == "three-cards");
    let mut scene = sample.expect("a sample of three cards").scene;
    let stripes = scene.cards[0].stripes.clone();
    let mut cards: Vec<Card> = scene.cards.iter().chain(&scene.cards).cloned().collect();
    let [left, top, right, bottom] = cards[0].margins;
    let (width, height) = (44.0 + left + right + gap, 83.0 + top + bottom + gap);
    for (i, card) in cards.iter_mut().enumerate() {
        card.stripes = stripes.clone();
        card.rotation = turn * [-0.8, 1.1, 0.4, 0.6, -1.0, -0.2][i];
        let [column, row] = [i % 3, i / 3].map(|n| n as f64);
        card.centre = [
            8.0 + left + 22.0 + column * width,
            10.0 + top + 41.5 + row * height,
        ];
    }
    scene.cards = cards;
    scene.page = Page {
        size: [16.0 + 3.0 * width, 20.0 + 2.0 * height],
        dpi: 110.0,
        lid: [lid; BANDS],
        ..scene.page
    };
    scene.file.dpi = Some(110.0);
    scene
}

/// Six of them were read as three long ones, or as two broad ones, without a word.
#[test]
fn cards_with_like_stripes_are_kept_apart() {
    for (lid, gap, turn) in [(0.83, 6.0, 0.0), (0.55, 3.0, 1.0), (0.3, 8.0, 0.4)] {
        all_right(&grid(lid, gap, turn), &format!("lid {lid}, gap {gap}"));
    }
}

/// Films, stripes and what lies below them cut to one black, or a single film between stripes that run off onto a black lid: which of
/// them run across the others hardly anything tells. Read the wrong way without a word.
#[test]
fn which_way_stripes_run_is_asked_where_little_tells() {
    for (name, seed) in [
        ("darks clipped", 65),
        ("darks clipped", 66),
        ("stripes run off onto a black lid", 60),
    ] {
        let trouble = troubles::ALL.iter().find(|trouble| trouble.name == name);
        let (found, _) = read(&trouble.expect("a trouble").scene(seed, 105.0));
        assert_eq!(found.len(), 1, "{name}, {seed}");
        let codes: Vec<&str> = found[0].doubts.iter().map(|d| d.code.as_str()).collect();
        assert!(codes.contains(&"direction"), "{name}, {seed}: {codes:?}");
    }
}
