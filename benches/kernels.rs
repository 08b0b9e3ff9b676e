//! The small parts that everything waits for: `cargo bench --bench kernels`.

use std::hint::black_box;

use divan::Bencher;
use twoground::{
    colour::{Lab, Xyz},
    film::{table::Table, transport::Transport},
    picture::Ground,
    spectrum,
};

fn main() {
    divan::main();
}

#[divan::bench]
fn one_film_from_the_table(bencher: Bencher) {
    let table = Table::shared();
    bencher.bench(|| table.slopes(black_box(0.7), black_box(0.2), black_box(0.35)));
}

#[divan::bench]
fn one_film_by_transport(bencher: Bencher) {
    let transport = Transport::<8>::new(0.35);
    bencher.bench(|| {
        let film = transport.film(black_box(0.7), black_box(0.2), 1.0);
        transport.stack(&[&film])
    });
}

#[divan::bench]
fn spectrum_behind_a_colour() -> spectrum::Usual {
    spectrum::usual(black_box(Xyz::new(0.3, 0.25, 0.1)))
}

#[divan::bench]
fn ground_of_a_colour() -> Ground {
    Ground::of(black_box(Lab::new(65.0, 25.0, 19.0)))
}
