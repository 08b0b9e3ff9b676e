//! How well a ground of one colour stands for the real reflectance behind it: films over chips and objects that had no part in
//! `src/spectrum/usual.csv` (`tests/data/grounds/make_grounds.py` says whose they are).

#[path = "support/score.rs"]
mod score;
#[path = "support/sets.rs"]
mod sets;

use score::Tally;
use twoground::{
    colour,
    film::surface,
    paint::{Constants, Covariance},
    picture::{Film, Ground, Stack},
    simulate::paints,
    spectrum::{self, BandCovariance, Bands},
};

/// Set and reflectance.
fn reflectances() -> Vec<(&'static str, Bands)> {
    include_str!("data/grounds/grounds.csv")
        .lines()
        .skip(1)
        .map(|line| {
            let (set, rest) = line.split_once(',').expect("a set");
            let values: Vec<f64> = rest
                .split(',')
                .map(|v| v.parse().expect("a number"))
                .collect();
            (set, values.try_into().expect("31 bands"))
        })
        .collect()
}

/// A paint known for certain, so that every error and all of the range is the ground's.
fn certain(name: &str) -> Constants {
    let paint = paints::named(name).expect("an invented paint");
    Constants {
        absorption: paint.absorption,
        scattering: paint.scattering,
        anisotropy: 0.4,
        covariance: Covariance::zeros(),
    }
}

fn tally(
    paints: &[&str],
    builds: &[f64],
    set: Option<&str>,
    as_seen: impl Fn(&Bands) -> Ground,
) -> Tally {
    let mut tally = Tally::new();
    let grounds: Vec<_> = reflectances()
        .into_iter()
        .filter(|(s, _)| set.is_none_or(|only| only == *s))
        .collect();
    for name in paints {
        let paint = certain(name);
        for &build in builds {
            let stack = Stack::new(&[&paint], &[Film { paint: 0, build }]).expect("a film");
            for (_, reflectance) in &grounds {
                let truth = stack.over(&score::known_ground(reflectance)).lab;
                let predicted = stack.over(&as_seen(reflectance));
                tally.add(colour::difference(truth, predicted.lab), predicted.range);
            }
        }
    }
    tally
}

const CLEAR: [&str; 6] = [
    "rose lake",
    "blue lake",
    "clear yellow",
    "clear rust",
    "kelp green",
    "tide violet",
];
const MILKY: [&str; 4] = ["smoke blue", "field earth", "cliff rose", "grey earth"];
const BUILDS: [f64; 4] = [0.25, 0.5, 1.0, 2.0];

fn usual(reflectance: &Bands) -> Ground {
    Ground::of_xyz(spectrum::xyz_of(reflectance))
}

fn smoothest(reflectance: &Bands) -> Ground {
    let internal = spectrum::smoothest(spectrum::xyz_of(reflectance)).map(surface::to_internal);
    Ground {
        internal,
        covariance: BandCovariance::zeros(),
        ..usual(reflectance)
    }
}

#[test]
fn the_range_of_a_ground_holds_nine_times_in_ten() {
    for (set, count) in [
        ("objects", 72),
        ("samples", 67),
        ("familiar", 10),
        ("chips", 14),
        ("chart", 24),
    ] {
        let clear = tally(&CLEAR, &BUILDS, Some(set), usual);
        assert_eq!(clear.errors.len(), count * CLEAR.len() * BUILDS.len());
        let milky = tally(&MILKY, &BUILDS, Some(set), usual);
        for (what, tally) in [("clear", clear), ("milky", milky)] {
            assert!(
                (0.87..=1.0).contains(&tally.held()),
                "{what} over {set}: held {:.3}",
                tally.held()
            );
        }
    }
}

#[test]
fn the_most_usual_spectrum_is_nearest() {
    let [usual, smoothest] = [
        tally(&CLEAR, &BUILDS, None, usual),
        tally(&CLEAR, &BUILDS, None, smoothest),
    ];
    assert!(usual.median() < smoothest.median() && usual.high() < smoothest.high());
    assert!((0.87..0.95).contains(&usual.held()), "{}", usual.held());
}
