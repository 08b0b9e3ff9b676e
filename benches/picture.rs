//! What a painter waits for on the Picture screen: `cargo bench --bench picture`.
//!
//! A change is to be seen within one frame (16 ms) for twelve colours and three films, forty tubes over twelve colours in
//! three coats within 300 ms, ranges included.

use std::{fs, path::Path};

use divan::Bencher;
use twoground::{
    page::{Change, OpenPicture, Way},
    paint::{Record, file::Surface},
};

fn main() {
    divan::main();
}

const PAINTS: [&str; 7] = [
    "lantern-gold",
    "storm-blue",
    "grey-earth",
    "cliff-rose",
    "kelp-green",
    "foam-white",
    "net-brown",
];

fn text(name: &str) -> String {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-scans");
    fs::read_to_string(folder.join(format!("{name}.pigment.json"))).expect("a sample")
}

/// Twelve colours, `tubes` tubes, three films.
fn open(tubes: usize) -> OpenPicture {
    let mut open = OpenPicture::new("bench");
    // Each of its own name: those of one name would be readings of one tube.
    let tube = |i: usize| {
        let mut record = Record::read(&text(PAINTS[i % PAINTS.len()])).expect("a sample's record");
        record.paint.name = format!("{} {i}", record.paint.name);
        (format!("tube-{i}"), record.write())
    };
    let list = (0..tubes).map(tube).collect();
    open.use_tubes(list).expect("samples");
    for i in 0..3 {
        open.change(&Change::AddColour {
            name: String::new(),
            lab: [30.0 + 20.0 * f64::from(i), 10.0, -15.0],
            lab_sd: [0.5; 3],
            surface: Surface::Satin,
        })
        .expect("a colour");
    }
    for tube in ["tube-0", "tube-1", "tube-2"] {
        open.change(&Change::Lay {
            tube: tube.into(),
            build: Some(0.5),
        })
        .expect("a film");
    }
    open
}

/// Pulling the middle film: the build differs every time.
#[divan::bench]
fn pull_one_of_three_films_over_twelve_colours(bencher: Bencher) {
    let mut open = open(3);
    open.choose_film(1);
    let mut build = 0.3;
    bencher.bench_local(|| {
        build = if build > 2.0 { 0.3 } else { build * 1.01 };
        open.change(&Change::Build {
            film: 1,
            build,
            pulling: true,
        })
        .expect("a build");
        open.view().expect("a view")
    });
}

#[divan::bench]
fn move_a_film_of_three_over_twelve_colours(bencher: Bencher) {
    let mut open = open(3);
    let mut over = true;
    bencher.bench_local(|| {
        over = !over;
        let film = if over { 0 } else { 1 };
        open.change(&Change::MoveFilm { film, over })
            .expect("films");
        open.view().expect("a view")
    });
}

#[divan::bench]
fn forty_tubes_over_twelve_colours_in_three_coats(bencher: Bencher) {
    let mut open = open(40);
    bencher.bench_local(|| open.tubes().expect("tubes"));
}

#[divan::bench]
fn forty_tubes_for_a_wanted_colour(bencher: Bencher) {
    let mut open = open(40);
    bencher.bench_local(|| open.wanted([45.0, 20.0, -10.0]).expect("an answer"));
}

#[divan::bench]
fn forty_tubes_for_a_wanted_change(bencher: Bencher) {
    let mut open = open(40);
    bencher.bench_local(|| open.wanted_change(Way::Warmer).expect("an answer"));
}
