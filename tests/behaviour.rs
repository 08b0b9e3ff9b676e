//! What painters expect of films, on whole predictions of kept paints: cards are drawn, scanned, read and kept first.
//!
//! The behaviours are common practice, no source; where a number says how much, it is ours.

#[path = "support/drawn.rs"]
mod drawn;

use std::{collections::BTreeMap, sync::OnceLock};

use proptest::prelude::*;
use twoground::{
    colour::{self, Lab},
    film::surface,
    paint::{Constants, Record, verdict},
    picture::{self, Film, Ground, Predicted, Stack},
    reading::Answers,
    simulate::paints,
    spectrum::{self, Bands},
};

/// Paints of the studio, each kept from a card of three films, drawn at several anisotropies.
const PAINTS: [(&str, f64); 10] = [
    ("rose lake", 0.2),
    ("blue lake", 0.6),
    ("clear yellow", 0.4),
    ("clear rust", 0.0),
    ("field earth", 0.6),
    ("dense yellow", 0.2),
    ("dense white", 0.6),
    ("smoke blue", 0.0),
    ("grey earth", 0.2),
    ("hearth black", 0.6),
];

fn shelf() -> &'static BTreeMap<&'static str, Record> {
    static SHELF: OnceLock<BTreeMap<&'static str, Record>> = OnceLock::new();
    SHELF.get_or_init(|| {
        PAINTS
            .iter()
            .map(|&(name, g)| (name, drawn::paint(name, g)))
            .collect()
    })
}

fn constants(name: &str) -> Constants {
    shelf()[name].constants().expect("a known paint")
}

/// Films from the bottom up over a colour, as the command answers.
fn over(ground: Lab, films: &[(&str, f64)]) -> Lab {
    let records: Vec<&Record> = films.iter().map(|(name, _)| &shelf()[name]).collect();
    let builds: Vec<f64> = films.iter().map(|(_, build)| *build).collect();
    picture::answer(&records, &builds, ground)
        .expect("a prediction")
        .predicted
        .lab
}

fn hue(lab: Lab) -> f64 {
    lab.b.atan2(lab.a).to_degrees().rem_euclid(360.0)
}

fn chroma(lab: Lab) -> f64 {
    lab.a.hypot(lab.b)
}

fn apart(a: f64, b: f64) -> f64 {
    let d = (a - b).rem_euclid(360.0);
    d.min(360.0 - d)
}

fn white() -> Lab {
    Lab::new(94.0, 0.0, 2.0)
}

/// A film too thick to see through.
fn masstone(name: &str) -> Lab {
    let [l, a, b] = shelf()[name].opacity.masstone_lab.expect("a body colour");
    Lab::new(l, a, b)
}

#[test]
fn the_order_of_films_matters_most_where_one_is_milky() {
    let swap = |a, b| {
        colour::difference(
            over(white(), &[(a, 0.5), (b, 0.5)]),
            over(white(), &[(b, 0.5), (a, 0.5)]),
        )
    };
    let clear = swap("rose lake", "blue lake");
    assert!(clear > 0.1 && clear < 4.0, "{clear}");
    for milky in ["smoke blue", "dense yellow", "dense white"] {
        let one_milky = swap("rose lake", milky);
        assert!(
            one_milky > 8.0 && one_milky > 3.0 * clear,
            "{milky}: {one_milky} against {clear}"
        );
    }
}

#[test]
fn clear_films_subtract() {
    for ground in [Lab::new(46.0, -45.0, 30.0), Lab::new(32.0, 15.0, -50.0)] {
        let dark = over(ground, &[("rose lake", 1.0)]);
        assert!(dark.l < 20.0 && dark.l < ground.l - 20.0, "{dark:?}");
    }
    let black = over(
        white(),
        &[
            ("clear yellow", 1.0),
            ("rose lake", 1.0),
            ("blue lake", 1.0),
        ],
    );
    assert!(black.l < 8.0, "{black:?}");
}

#[test]
fn blue_over_yellow_is_green() {
    let yellow = Lab::new(82.0, 2.0, 75.0);
    for build in [0.1, 0.2, 0.3] {
        let green = over(yellow, &[("blue lake", build)]);
        assert!(
            (110.0..=190.0).contains(&hue(green)) && chroma(green) > 15.0,
            "{build}: {green:?}"
        );
    }
}

#[test]
fn blue_over_its_own_blue_is_deeper_and_keeps_its_hue() {
    let own = over(white(), &[("blue lake", 0.3)]);
    let deeper = over(own, &[("blue lake", 0.3)]);
    assert!(deeper.l < own.l - 5.0, "{own:?} {deeper:?}");
    assert!(apart(hue(own), hue(deeper)) < 20.0, "{own:?} {deeper:?}");
}

/// K and S of two paints add in proportion to their shares (Duncan, Proc. Phys. Soc. 52 (1940) 390). The cards here were drawn with
/// one gauge, so their units are alike; cards of painters are not.
fn mixed(parts: &[(&str, f64)]) -> Constants {
    let whole: f64 = parts.iter().map(|(_, part)| part).sum();
    let all: Vec<_> = parts
        .iter()
        .map(|(name, part)| (constants(name), part / whole))
        .collect();
    let sum = |of: fn(&Constants) -> &Bands, band: usize| {
        all.iter().map(|(c, share)| of(c)[band] * share).sum()
    };
    Constants {
        absorption: std::array::from_fn(|b| sum(|c| &c.absorption, b)),
        scattering: std::array::from_fn(|b| sum(|c| &c.scattering, b)),
        ..all[0].0.clone()
    }
}

fn body(paint: &Constants) -> Lab {
    colour::lab(spectrum::xyz_of(&paint.masstone()))
}

#[test]
fn a_glaze_over_earth_has_more_chroma_than_their_mix() {
    for (clear, earth) in [
        ("rose lake", "field earth"),
        ("clear rust", "grey earth"),
        ("clear yellow", "field earth"),
    ] {
        let dry = masstone(earth);
        for build in [0.5, 1.0] {
            let layered = over(dry, &[(clear, build)]);
            // As much of both, stirred: a hiding film of the earth is about three.
            let stirred = body(&mixed(&[(clear, build), (earth, 3.0)]));
            assert!(
                chroma(layered) > chroma(stirred) + 2.0,
                "{clear} {build}: {layered:?} {stirred:?}"
            );
        }
    }
}

#[test]
fn over_grey_a_glaze_needs_little_pigment() {
    let grey = Lab::new(70.0, 0.0, 0.0);
    let glazed = over(grey, &[("rose lake", 0.1)]);
    // How much of the same pigment a hiding mix with white takes to the same chroma.
    let hiding = shelf()["dense white"]
        .opacity
        .hiding_build
        .expect("white hides");
    let share = (1..=200)
        .map(|i| f64::from(i) / 400.0)
        .find(|share| {
            chroma(body(&mixed(&[
                ("rose lake", *share),
                ("dense white", 1.0 - share),
            ]))) >= chroma(glazed)
        })
        .expect("some mix has that chroma");
    assert!(chroma(glazed) > 15.0, "{glazed:?}");
    assert!(
        0.1 < 0.5 * share * hiding,
        "{glazed:?}: {share} of {hiding}"
    );
}

/// A tube and the same with scatter added: of like hue, one clear and one a veil. Over white they are alike, which is what equal
/// depth means. Over middles and darks the veil pales: less chroma for its lightness, by light that has not seen the ground.
/// (Chroma alone stays about the same.)
#[test]
fn at_equal_depth_a_veil_is_paler() {
    for name in ["rose lake", "clear yellow", "harbour blue"] {
        let clear = paints::named(name).expect("an invented paint");
        let mut veil = clear.clone();
        veil.scattering.iter_mut().for_each(|s| *s += 10.0);
        let [(pure, clean), (pale, milky)] = [clear, veil].map(|paint| {
            let scene = drawn::scene(paint, 0.4, &[0.46, 1.0, 2.1]);
            let record = drawn::kept(&drawn::read(&scene, &Answers::default()));
            let paint = record.constants().expect("a known paint");
            let milk = verdict::milk(&paint, record.thickest()).expect("it reaches glaze depth");
            let seen = |l| {
                let ground = Lab::new(l, 0.0, 0.0);
                picture::answer(&[&record], &[milk.build], ground)
                    .expect("a prediction")
                    .predicted
                    .lab
            };
            ([92.0, 60.0, 40.0].map(seen), milk.on_black)
        });
        assert!(clean < 1.0 && milky > 12.0, "{name}: {clean} {milky}");
        let alike = colour::difference(pure[0], pale[0]);
        assert!(alike < 3.0, "{name}: {alike}");
        for (pure, pale) in pure.into_iter().zip(pale).skip(1) {
            assert!(pale.l > pure.l + 1.0, "{name}: {pure:?} {pale:?}");
            assert!(
                chroma(pale) / pale.l < chroma(pure) / pure.l,
                "{name}: {pure:?} {pale:?}"
            );
        }
    }
}

#[test]
fn no_build_leaves_the_ground() {
    for (name, record) in shelf() {
        for ground in [white(), Lab::new(40.0, 30.0, 20.0), Lab::new(8.0, 0.0, 0.0)] {
            let answer = picture::answer(&[record], &[0.0], ground).expect("a prediction");
            let Predicted { lab, range } = answer.predicted;
            assert!(
                colour::difference(lab, ground) < 1e-9 && range == 0.0,
                "{name}: {lab:?} {range}"
            );
            let breath = over(ground, &[(name, 1e-4)]);
            assert!(
                colour::difference(ground, breath) < 0.4,
                "{name}: {ground:?} {breath:?}"
            );
        }
    }
}

#[test]
fn over_its_own_masstone_a_paint_changes_nothing() {
    for name in shelf().keys() {
        let paint = constants(name);
        let internal = paint.masstone().map(surface::to_internal);
        let ground = Ground {
            internal,
            ..Ground::of(masstone(name))
        };
        for build in [0.3, 1.0, 3.0] {
            let stack = Stack::new(&[&paint], &[Film { paint: 0, build }]).expect("a film");
            let change = colour::difference(ground.lab, stack.over(&ground).lab);
            // A ground sends light out evenly; a deep film does so nearly.
            assert!(change < 1.5, "{name} {build}: {change}");
        }
    }
}

#[test]
fn a_thick_film_is_its_masstone_over_anything() {
    for name in shelf().keys() {
        for ground in [
            white(),
            Lab::new(10.0, 0.0, 0.0),
            Lab::new(50.0, 40.0, 40.0),
        ] {
            let thick = over(ground, &[(name, picture::MOST_BUILD)]);
            // Clear paints are not opaque yet where they neither absorb nor scatter.
            let bound = if constants(name).scattering[15] < 0.3 {
                12.0
            } else {
                1.0
            };
            let left = colour::difference(thick, masstone(name));
            assert!(left < bound, "{name} over {ground:?}: {left}");
        }
    }
}

fn any_ground() -> impl Strategy<Value = Lab> {
    (5.0..95.0_f64, -40.0..40.0_f64, -40.0..40.0_f64)
        .prop_map(|(l, a, b)| Lab::new(l, 0.8 * a, 0.8 * b))
}

fn any_paint() -> impl Strategy<Value = &'static str> {
    prop::sample::select(PAINTS.map(|(name, _)| name).to_vec())
}

fn log_build() -> impl Strategy<Value = f64> {
    (-2.0..0.7_f64).prop_map(|e| 10f64.powf(e))
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 96, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn what_only_absorbs_never_lightens(name in any_paint(), build in log_build(), ground in any_ground()) {
        let mut paint = constants(name);
        paint.scattering = [0.0; spectrum::BANDS];
        let stack = Stack::new(&[&paint], &[Film { paint: 0, build }]).unwrap();
        let ground = Ground::of(ground);
        // What its reflectance looks like: some dark and saturated colours no surface has, and the nearest that one has is lighter.
        let bare = colour::lab(spectrum::xyz_of(&ground.internal.map(surface::to_measured)));
        // The table begins at a scatter of 1e-4, which is 0.1 L* over the deepest ground.
        prop_assert!(stack.over(&ground).lab.l <= bare.l + 0.15);
    }

    #[test]
    fn more_of_a_clear_film_is_darker(name in prop::sample::select(vec!["rose lake", "blue lake", "clear rust", "hearth black"]), build in 0.01..1.0_f64, l in 40.0..95.0_f64) {
        let ground = Lab::new(l, 0.0, 0.0);
        let (thin, thick) = (over(ground, &[(name, build)]), over(ground, &[(name, 1.3 * build)]));
        prop_assert!(thick.l <= thin.l + 0.05, "{:?} {:?}", thin, thick);
    }

    #[test]
    fn a_lighter_ground_stays_lighter(name in any_paint(), build in log_build(), l in 5.0..90.0_f64) {
        let seen = |l| over(Lab::new(l, 0.0, 0.0), &[(name, build)]).l;
        prop_assert!(seen(l + 4.0) >= seen(l) - 0.02);
    }

    #[test]
    fn one_film_in_two_coats_is_one_film(name in any_paint(), build in log_build(), share in 0.2..0.8_f64, ground in any_ground()) {
        // One film goes through the table, two through exact transport in fewer directions.
        let one = over(ground, &[(name, build)]);
        let two = over(ground, &[(name, share * build), (name, (1.0 - share) * build)]);
        prop_assert!(colour::difference(one, two) < 0.6, "{:?} {:?}", one, two);
    }

    #[test]
    fn ranges_and_colours_are_finite(lower in any_paint(), upper in any_paint(), build in log_build(), ground in any_ground()) {
        let answer = picture::answer(&[&shelf()[lower], &shelf()[upper]], &[build, 0.5], ground).unwrap();
        let Predicted { lab, range } = answer.predicted;
        prop_assert!(lab.l >= 0.0 && lab.l <= 100.0 && lab.a.abs() < 130.0 && lab.b.abs() < 130.0, "{:?}", lab);
        prop_assert!(range > 0.0 && range < 60.0, "{}", range);
    }
}
