//! The open picture over the sample paints, as the page uses it.

use std::{fs, path::Path};

use super::*;
use crate::{
    colour::{self, Lab},
    paint::file::Surface,
    picture::{self, plan::Thinning},
};

fn sample(name: &str) -> String {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-scans");
    fs::read_to_string(folder.join(format!("{name}.pigment.json"))).expect("a sample")
}

const NAMES: [&str; 4] = ["cliff-rose", "storm-blue", "foam-white", "lantern-gold"];

fn open() -> OpenPicture {
    let mut open = OpenPicture::new("Harbour");
    let tubes = NAMES.map(|name| (name.to_owned(), sample(name)));
    open.use_tubes(tubes.to_vec()).expect("samples");
    open
}

fn lay(open: &mut OpenPicture, tube: &str, build: f64) {
    open.change(&Change::Lay {
        tube: tube.into(),
        build: Some(build),
    })
    .expect("a tube at hand");
}

fn labs(view: &PictureView) -> Vec<Lab> {
    let lab = |[l, a, b]: [f64; 3]| Lab::new(l, a, b);
    view.seen.iter().map(|spot| lab(spot.tone.lab)).collect()
}

#[test]
fn bare_colours_stay_and_films_are_what_the_command_predicts() {
    let mut open = open();
    let bare = open.view().unwrap();
    assert_eq!(bare.headline, "Bare underpainting.");
    for (colour, seen) in bare.colours.iter().zip(&bare.seen) {
        assert_eq!(colour.tone.lab, seen.tone.lab);
    }
    lay(&mut open, "cliff-rose", 0.8);
    lay(&mut open, "storm-blue", 0.5);
    lay(&mut open, "cliff-rose", 0.3);
    open.change(&Change::Coats { film: 1, coats: 2 }).unwrap();
    let view = open.view().unwrap();
    let records =
        ["cliff-rose", "storm-blue", "cliff-rose"].map(|name| Record::read(&sample(name)).unwrap());
    for (colour, seen) in view.colours.iter().zip(&view.seen) {
        let [l, a, b] = colour.tone.lab;
        let answer =
            picture::answer(&records.each_ref(), &[0.8, 1.0, 0.3], Lab::new(l, a, b)).unwrap();
        let predicted = answer.predicted;
        assert_eq!(
            seen.tone.lab,
            [predicted.lab.l, predicted.lab.a, predicted.lab.b]
        );
        assert_eq!(seen.range, predicted.range);
    }
}

#[test]
fn every_change_is_one_step_back_and_one_forth() {
    let mut open = open();
    let first = open.write();
    lay(&mut open, "cliff-rose", 1.0);
    lay(&mut open, "storm-blue", 1.0);
    // All of one pull is one step.
    for (build, pulling) in [(1.1, true), (1.2, true), (1.3, false)] {
        open.change(&Change::Build {
            film: 1,
            build,
            pulling,
        })
        .unwrap();
    }
    open.change(&Change::MoveFilm {
        film: 1,
        over: false,
    })
    .unwrap();
    assert_eq!(open.film, 0, "the moved film stays chosen");
    open.change(&Change::Thin {
        film: 0,
        thinning: Thinning {
            paint: 1.0,
            stays: 3.0,
            evaporates: 0.0,
        },
    })
    .unwrap();
    open.change(&Change::AddLadder {
        count: 5,
        light: 95.0,
        dark: 15.0,
    })
    .unwrap();
    open.change(&Change::AddMasstone {
        tube: "foam-white".into(),
    })
    .unwrap();
    let last = open.write();
    let mut steps = 0;
    while open.undo() {
        steps += 1;
    }
    assert_eq!(steps, 7);
    assert_eq!(open.write(), first);
    while open.redo() {}
    assert_eq!(open.write(), last);
    // Another ladder goes on counting.
    open.change(&Change::AddLadder {
        count: 2,
        light: 90.0,
        dark: 20.0,
    })
    .unwrap();
    let names: Vec<&str> = open.plan.colours.iter().map(|c| c.name.as_str()).collect();
    let greys: Vec<&str> = names
        .into_iter()
        .filter(|n| n.starts_with("grey "))
        .collect();
    let mut once = greys.clone();
    once.sort_unstable();
    once.dedup();
    assert_eq!(once.len(), greys.len(), "{greys:?}");
    assert!(open.undo());
    // What is refused leaves everything as it was, and no step.
    for refused in [
        Change::TakeFilm { film: 9 },
        Change::MoveFilm {
            film: 1,
            over: true,
        },
        Change::Build {
            film: 0,
            build: -1.0,
            pulling: false,
        },
        Change::Lay {
            tube: "gone".into(),
            build: None,
        },
        Change::AddLadder {
            count: 1,
            light: 90.0,
            dark: 10.0,
        },
    ] {
        assert!(open.change(&refused).is_err(), "{refused:?}");
        assert_eq!(open.write(), last);
    }
    assert!(open.undo());
    // Read again it is the same.
    let text = open.write();
    assert_eq!(OpenPicture::read(&text).unwrap().write(), text);
}

#[test]
fn coats_start_bare_and_pass_through_what_is_shown() {
    let mut open = open();
    lay(&mut open, "storm-blue", 0.4);
    lay(&mut open, "cliff-rose", 0.6);
    open.change(&Change::Coats { film: 1, coats: 3 }).unwrap();
    let view = open.view().unwrap();
    let coats = view.coats.as_ref().expect("a film is chosen");
    assert_eq!(coats.rows.len(), 9);
    for (step, seen) in coats.rows[3].tones.iter().zip(labs(&view)) {
        let [l, a, b] = step.lab;
        assert!(colour::difference(Lab::new(l, a, b), seen) < 1e-9);
    }
    // More coats of a clear film bring lights and darks together.
    assert!(coats.rows[8].span < coats.rows[0].span);
    open.change(&Change::Coats { film: 1, coats: 0 }).unwrap();
    let one = open.view().unwrap();
    for (step, seen) in coats.rows[0].tones.iter().zip(labs(&one)) {
        let [l, a, b] = step.lab;
        assert!(colour::difference(Lab::new(l, a, b), seen) < 1e-9);
    }
}

#[test]
fn swapped_films_are_shown_as_they_come_out() {
    let mut open = open();
    lay(&mut open, "cliff-rose", 1.0);
    lay(&mut open, "foam-white", 0.5);
    let before = open.view().unwrap();
    let order = before.order.clone().expect("two films");
    assert!(order.sentence.contains("instead"), "{}", order.sentence);
    open.change(&Change::MoveFilm {
        film: 1,
        over: false,
    })
    .unwrap();
    let after = open.view().unwrap();
    for (foretold, seen) in order.tones.iter().zip(labs(&after)) {
        let [l, a, b] = foretold.lab;
        assert!(colour::difference(Lab::new(l, a, b), seen) < 1e-9);
    }
    // A milky film on top of a clear one is another picture than under it.
    let most = labs(&before)
        .into_iter()
        .zip(labs(&after))
        .map(|(a, b)| colour::difference(a, b))
        .fold(0.0, f64::max);
    assert!(most > 5.0, "{most}");
    // And swapping twice gives back the first.
    open.change(&Change::MoveFilm {
        film: 0,
        over: true,
    })
    .unwrap();
    assert_eq!(labs(&open.view().unwrap()), labs(&before));
}

#[test]
fn an_uncertain_colour_widens_the_range_and_a_dull_one_deepens() {
    let mut open = open();
    open.change(&Change::ClearColours {}).unwrap();
    for surface in [Surface::Glossy, Surface::Matt] {
        open.change(&Change::AddColour {
            name: String::new(),
            lab: [50.0, 5.0, 10.0],
            lab_sd: [0.0; 3],
            surface,
        })
        .unwrap();
    }
    open.change(&Change::AddColour {
        name: "photo".into(),
        lab: [50.0, 5.0, 10.0],
        lab_sd: [3.0; 3],
        surface: Surface::Glossy,
    })
    .unwrap();
    // Bare, too, a colour is as well known as it was read.
    let bare = open.view().unwrap();
    assert_eq!(bare.seen[0].range, 0.0);
    assert!(bare.seen[2].range > 3.0, "{:?}", bare.seen[2]);
    lay(&mut open, "lantern-gold", 0.5);
    let view = open.view().unwrap();
    assert!(view.seen[2].range > view.seen[0].range + 1.0);
    assert!(labs(&view)[1].l < labs(&view)[0].l, "wetted, it deepens");
    assert_eq!(view.colours[0].name, "colour 1");
    assert!(view.cautions.iter().any(|note| note.contains("wets it")));
}

/// Any paint over its own masstone changes nothing (common practice, no source).
#[test]
fn a_film_over_its_own_masstone_changes_nothing() {
    for name in NAMES {
        let mut open = open();
        open.change(&Change::ClearColours {}).unwrap();
        open.change(&Change::AddMasstone { tube: name.into() })
            .unwrap();
        for build in [0.2, 1.0, 4.0] {
            lay(&mut open, name, build);
            let view = open.view().unwrap();
            let [l, a, b] = view.colours[0].tone.lab;
            let by = colour::difference(Lab::new(l, a, b), labs(&view)[0]);
            // Not nothing: the dry ground counts as Lambertian, which a thick film of a dark paint is not.
            assert!(by < 1.5, "{name} at {build}: {by}");
            open.change(&Change::TakeFilm { film: 0 }).unwrap();
        }
    }
}

#[test]
fn a_tube_that_is_gone_is_said_and_left_out() {
    let mut open = open();
    lay(&mut open, "cliff-rose", 1.0);
    lay(&mut open, "storm-blue", 1.0);
    let both = open.view().unwrap();
    let rest: Vec<_> = NAMES[1..]
        .iter()
        .map(|n| ((*n).to_owned(), sample(n)))
        .collect();
    open.use_tubes(rest).unwrap();
    let view = open.view().unwrap();
    assert!(view.films[0].missing);
    assert!(view.cautions[0].contains("left out"), "{:?}", view.cautions);
    assert_ne!(labs(&view), labs(&both));
    assert_eq!(open.plan.films.len(), 2, "but it stays in the plan");
}

#[test]
fn tubes_stand_at_one_depth() {
    let mut open = open();
    let tubes = open.tubes().unwrap();
    assert_eq!(tubes.rows.len(), NAMES.len());
    for row in &tubes.rows {
        assert_eq!(row.coats.len(), 3);
        assert_eq!(row.coats[0].len(), 9);
        // Laying it on shows what the row showed.
        open.change(&Change::Lay {
            tube: row.key.clone(),
            build: None,
        })
        .unwrap();
        let view = open.view().unwrap();
        for (spot, seen) in row.coats[0].iter().zip(&view.seen) {
            assert_eq!(spot, seen, "{}", row.name);
        }
        open.undo();
    }
    let white = tubes
        .rows
        .iter()
        .find(|row| row.key == "foam-white")
        .unwrap();
    assert!(white.lightness > 0.0, "a white lifts");
    let rose = tubes
        .rows
        .iter()
        .find(|row| row.key == "cliff-rose")
        .unwrap();
    assert!(rose.lightness < 0.0, "a clear rose darkens");
}

#[test]
fn layering_that_fails_is_said_where_labels_tell() {
    let mut open = open();
    let with_binder = |name: &str, binder: &str| {
        let mut record = Record::read(&sample(name)).unwrap();
        record.paint.binder = binder.into();
        record.paint.colour_index = vec!["PR 108".into()];
        record.write()
    };
    open.use_tubes(vec![
        ("oil".into(), with_binder("cliff-rose", "linseed oil")),
        ("acrylic".into(), with_binder("storm-blue", "acrylic")),
    ])
    .unwrap();
    lay(&mut open, "acrylic", 1.0);
    lay(&mut open, "oil", 1.0);
    let cautions = open.view().unwrap().cautions;
    assert!(
        !cautions.iter().any(|c| c.contains("never over oil")),
        "{cautions:?}"
    );
    assert!(
        cautions.iter().any(|c| c.contains("cadmium")),
        "{cautions:?}"
    );
    open.change(&Change::MoveFilm {
        film: 0,
        over: true,
    })
    .unwrap();
    let cautions = open.view().unwrap().cautions;
    assert!(
        cautions[0].contains("Acrylic never over oil"),
        "{cautions:?}"
    );
    // A lean film over a fat one.
    open.change(&Change::Thin {
        film: 0,
        thinning: Thinning {
            paint: 1.0,
            stays: 2.0,
            evaporates: 1.0,
        },
    })
    .unwrap();
    lay(&mut open, "oil", 0.5);
    let cautions = open.view().unwrap().cautions;
    assert!(
        cautions.iter().any(|c| c.starts_with("Fat over lean")),
        "{cautions:?}"
    );
    assert!(
        cautions.iter().any(|c| c.starts_with("Solvent")),
        "{cautions:?}"
    );
}

#[test]
fn a_wanted_colour_is_offered_and_laid_alone() {
    let mut open = open();
    // What two times the depth of the rose makes of a light grey.
    open.choose_colour(1);
    let depth = open
        .tubes
        .iter()
        .find(|t| t.key == "cliff-rose")
        .unwrap()
        .depth
        .build;
    lay(&mut open, "storm-blue", 0.1);
    open.change(&Change::LayAlone {
        tube: "cliff-rose".into(),
        build: Some(2.0 * depth),
    })
    .unwrap();
    assert_eq!(open.plan.films.len(), 1);
    let made = open.view().unwrap();
    let wanted = open.wanted(made.seen[1].tone.lab).unwrap();
    let best = &wanted.rows[0];
    assert_eq!(best.key, "cliff-rose");
    assert_eq!(best.words, "meets it");
    assert!((best.build / (2.0 * depth) - 1.0).abs() < 0.05);
    assert_eq!(wanted.rows.len() + wanted.no_help, NAMES.len());
    // The row shows what laying it alone gives.
    open.change(&Change::LayAlone {
        tube: best.key.clone(),
        build: Some(best.build),
    })
    .unwrap();
    let view = open.view().unwrap();
    assert_eq!(view.seen[1], best.spot);
    for (foretold, seen) in best.others.iter().zip(&view.seen) {
        assert_eq!(foretold.lab, seen.tone.lab);
    }
    assert!(open.wanted([120.0, 0.0, 0.0]).is_err());
}

#[test]
fn greys_are_found_under_films_or_said_to_be_out_of_reach() {
    let mut open = open();
    lay(&mut open, "cliff-rose", 0.3);
    let view = open.view().unwrap();
    let greys = open
        .greys(&[
            view.seen[0].tone.lab,
            view.seen[3].tone.lab,
            view.seen[6].tone.lab,
            [60.0, -40.0, 40.0],
        ])
        .unwrap();
    for (row, lightness) in greys.rows.iter().zip([92.0, 59.0, 26.0]) {
        assert!(row.reached, "{row:?}");
        assert!((row.grey.lab[0] - lightness).abs() < 1.0, "{row:?}");
    }
    assert!(!greys.rows[3].reached);
    assert!(
        greys.rows[3].words.starts_with("No grey"),
        "{:?}",
        greys.rows[3]
    );
}

#[test]
fn a_wanted_change_goes_its_way() {
    let mut open = open();
    open.choose_colour(3);
    lay(&mut open, "cliff-rose", 0.2);
    let before = open.view().unwrap().seen[3].tone.lab;
    let lab = |[l, a, b]: [f64; 3]| Lab::new(l, a, b);
    for (way, along) in [
        (Way::Lighter, (|lab: Lab| lab.l) as fn(Lab) -> f64),
        (Way::Darker, |lab| -lab.l),
        (Way::Warmer, words::warmth),
        (Way::Cooler, |lab| -words::warmth(lab)),
        (Way::Richer, words::chroma),
        (Way::Quieter, |lab| -words::chroma(lab)),
    ] {
        let view = open.wanted_change(way).unwrap();
        assert_eq!(view.rows.len() + view.no_help, NAMES.len());
        for row in &view.rows {
            let by = along(lab(row.spot.tone.lab)) - along(lab(before));
            assert!(by > 0.0, "{way:?} {}: {by}", row.name);
        }
        let Some(best) = view.rows.first() else {
            continue;
        };
        // Laid on, it is what was shown.
        open.change(&Change::Lay {
            tube: best.key.clone(),
            build: Some(best.build),
        })
        .unwrap();
        assert_eq!(open.view().unwrap().seen[3], best.spot);
        open.undo();
    }
    let lighter = open.wanted_change(Way::Lighter).unwrap();
    assert_eq!(lighter.rows[0].key, "foam-white", "only a veil lightens");
}

/// Over a grey underpainting a glaze reaches its colour with a small part of the pigment that a full mix with white takes
/// (common practice, no source).
#[test]
fn a_mix_is_brought_near_the_glaze_and_takes_more_paint() {
    let mut open = open();
    open.choose_colour(1);
    let nothing = open.mixed(&[], Some("foam-white")).unwrap_err();
    assert!(nothing.to_string().starts_with("Lay a film first"));
    let depth = open
        .tubes
        .iter()
        .find(|t| t.key == "storm-blue")
        .unwrap()
        .depth
        .build;
    lay(&mut open, "storm-blue", depth);
    let near = open.mixed(&[], Some("foam-white")).unwrap();
    assert_eq!(near.parts.len(), 2);
    assert!(
        !near.common && near.unit.contains("No gauge"),
        "{}",
        near.unit
    );
    assert!(near.pigment.contains("times as much"), "{}", near.pigment);
    // Asked with those parts, the same; with others, farther off.
    let again = open.mixed(&near.parts, None).unwrap();
    assert_eq!(again.mix, near.mix);
    let lab = |[l, a, b]: [f64; 3]| Lab::new(l, a, b);
    let off = |view: &MixView| colour::difference(lab(view.glaze.tone.lab), lab(view.mix.tone.lab));
    let mut other = near.parts.clone();
    other[1].parts *= 0.2;
    assert!(off(&open.mixed(&other, None).unwrap()) > off(&near));
    // One film alone was weighed: the one that lacks it is named. And acrylic is not stirred into oil.
    assert_eq!(near.caution, "");
    let half = NAMES.map(|name| {
        let mut record = Record::read(&sample(name)).unwrap();
        record.film_weight = (name == "foam-white").then_some(2.0);
        record.paint.binder = if name == "storm-blue" {
            "acrylic"
        } else {
            "linseed oil"
        }
        .into();
        (name.to_owned(), record.write())
    });
    open.use_tubes(half.to_vec()).unwrap();
    let half = open.mixed(&near.parts, None).unwrap();
    assert!(half.caution.starts_with("Oil and acrylic do not mix"));
    let blue = open.tubes.iter().find(|t| t.key == "storm-blue").unwrap();
    let unit = format!("No film of {} was weighed", blue.name());
    assert!(half.unit.starts_with(&unit), "{}", half.unit);
    // With one gauge on all cards the same mix is surer.
    let gauged = NAMES.map(|name| {
        let mut record = Record::read(&sample(name)).unwrap();
        record.gauge = Some("one layer of tape".into());
        (name.to_owned(), record.write())
    });
    open.use_tubes(gauged.to_vec()).unwrap();
    let common = open.mixed(&near.parts, None).unwrap();
    assert!(common.common);
    assert_eq!(common.mix.tone, near.mix.tone);
    assert!(common.mix.range < near.mix.range);
    // Weighed, too: the same parts by weight are fewer films of the tube whose film weighs more.
    let weighed = |weights: [f64; 4]| {
        let tubes = NAMES.iter().zip(weights).map(|(name, weight)| {
            let mut record = Record::read(&sample(name)).unwrap();
            record.film_weight = Some(weight);
            ((*name).to_owned(), record.write())
        });
        tubes.collect::<Vec<_>>()
    };
    open.use_tubes(weighed([40.0; 4])).unwrap();
    let alike = open.mixed(&near.parts, None).unwrap();
    assert!(alike.by_weight && alike.common);
    assert!(off_by(&alike.mix, &near.mix) < 1e-6);
    assert!(alike.mix.range < common.mix.range);
    // cliff-rose, storm-blue, foam-white, lantern-gold.
    open.use_tubes(weighed([40.0, 40.0, 80.0, 40.0])).unwrap();
    let mut halved = near.parts.clone();
    halved[0].parts *= 0.5;
    let heavy = open.mixed(&halved, None).unwrap();
    assert!(off_by(&heavy.mix, &alike.mix) < 1e-6);
    for part in &mut other {
        part.parts = 0.0;
    }
    assert!(open.mixed(&other, None).is_err());
}

#[test]
fn patches_tell_the_painters_coat_and_widen_by_its_spread() {
    let mut open = open();
    open.choose_colour(1);
    lay(&mut open, "cliff-rose", 0.6);
    let refused = open
        .change(&Change::MyCoat {
            film: 0,
            way: String::new(),
        })
        .unwrap_err();
    assert!(refused.to_string().starts_with("No patch"), "{refused}");
    // The painter's coats are half as thick again as planned.
    for coats in [1, 2] {
        open.change(&Change::Coats { film: 0, coats }).unwrap();
        open.change(&Change::Build {
            film: 0,
            build: 0.9,
            pulling: false,
        })
        .unwrap();
        let painted = open.view().unwrap().seen[1].tone.lab;
        open.change(&Change::Build {
            film: 0,
            build: 0.6,
            pulling: false,
        })
        .unwrap();
        open.change(&Change::AddPatch {
            tube: String::new(),
            coats: 0,
            over: None,
            lab: painted,
            lab_sd: [0.5; 3],
            way: String::new(),
            surface: Surface::Glossy,
        })
        .unwrap();
    }
    open.change(&Change::Coats { film: 0, coats: 1 }).unwrap();
    let before = open.view().unwrap();
    assert_eq!(before.patches.rows.len(), 2);
    assert!(before.patches.rows[1].name.starts_with("2 coats of"));
    assert!(
        before.patches.sentence.contains("run light"),
        "{}",
        before.patches.sentence
    );
    open.change(&Change::MyCoat {
        film: 0,
        way: String::new(),
    })
    .unwrap();
    let film = &open.plan.films[0];
    assert!((film.build / 0.9 - 1.0).abs() < 0.02, "{}", film.build);
    assert!(film.build_log_sd > 0.05);
    let mine = open.view().unwrap();
    // A patch of such coats, a mix beside them and greys under them have that spread in their ranges, too.
    open.change(&Change::AddPatch {
        tube: String::new(),
        coats: 0,
        over: None,
        lab: mine.seen[1].tone.lab,
        lab_sd: [0.5; 3],
        way: String::new(),
        surface: Surface::Glossy,
    })
    .unwrap();
    let ranges = |open: &mut OpenPicture| {
        let patch = open.view().unwrap().patches.rows[2].predicted.clone();
        let mixed = open.mixed(&[], Some("foam-white")).unwrap();
        let grey = open.greys(&[[50.0, 10.0, 5.0]]).unwrap().rows.remove(0);
        let darker = open.wanted_change(Way::Darker).unwrap().rows.remove(0);
        [
            patch.unwrap().range,
            mixed.glaze.range,
            grey.spot.range,
            darker.spot.range,
        ]
    };
    let with_spread = ranges(&mut open);
    assert!((with_spread[0] - mine.seen[1].range).abs() < 1e-9);
    assert!((with_spread[1] - mine.seen[1].range).abs() < 1e-9);
    // As thick without a spread, the range is narrower.
    let build = open.plan.films[0].build;
    open.change(&Change::Build {
        film: 0,
        build,
        pulling: false,
    })
    .unwrap();
    let planned = open.view().unwrap();
    assert_eq!(planned.seen[1].tone, mine.seen[1].tone);
    assert!(planned.seen[1].range < mine.seen[1].range);
    let without = ranges(&mut open);
    assert_eq!(without[0], with_spread[0], "the patch is as it was painted");
    for (planned, mine) in without.iter().zip(&with_spread).skip(1) {
        assert!(planned < mine, "{without:?} {with_spread:?}");
    }
    open.undo();
    open.change(&Change::TakePatch { patch: 2 }).unwrap();
    // Another tube over another colour than those at hand, without touching the plan.
    let (films, colour) = (open.plan.films.clone(), open.colour);
    open.change(&Change::AddPatch {
        tube: "cliff-rose".into(),
        coats: 3,
        over: Some(0),
        lab: [60.0, -20.0, 20.0],
        lab_sd: [0.5; 3],
        way: "rag".into(),
        surface: Surface::Glossy,
    })
    .unwrap();
    assert_eq!((&open.plan.films, open.colour), (&films, colour));
    let patch = open.plan.patches[2].clone();
    assert_eq!(patch.over.lab, open.plan.colours[0].lab);
    assert_eq!((patch.films.len(), patch.films[0].coats), (1, 3));
    let row = open.view().unwrap().patches.rows.remove(2);
    assert!(
        row.name.starts_with("3 coats of cliff rose over"),
        "{}",
        row.name
    );
    assert!(row.predicted.is_some());
    open.change(&Change::TakePatch { patch: 2 }).unwrap();
    // It is all undone, and what is kept reads again.
    let text = open.write();
    assert_eq!(OpenPicture::read(&text).unwrap().write(), text);
    open.change(&Change::TakePatch { patch: 0 }).unwrap();
    assert!(open.change(&Change::TakePatch { patch: 7 }).is_err());
    while open.undo() {}
    assert!(open.plan.patches.is_empty());
}

#[test]
fn patches_correct_the_scatter_of_a_tube_in_this_picture_alone() {
    let mut open = open();
    // What the painter's white really does: it scatters more than its card says.
    let card = Record::read(&sample("cliff-rose")).unwrap();
    let real = card.constants().unwrap().scattering_times(1.6);
    lay(&mut open, "cliff-rose", 0.5);
    for (colour, coats) in [(0, 1), (6, 1), (3, 2), (6, 2)] {
        open.choose_colour(colour);
        open.change(&Change::Coats { film: 0, coats }).unwrap();
        let [l, a, b] = open.plan.colours[colour].lab;
        let build = 0.5 * f64::from(coats);
        let Lab { l, a, b, .. } =
            picture::wanted::film_lab(&real, build, &Ground::of(Lab::new(l, a, b)));
        open.change(&Change::AddPatch {
            tube: String::new(),
            coats: 0,
            over: None,
            lab: [l, a, b],
            lab_sd: [0.3; 3],
            way: String::new(),
            surface: Surface::Glossy,
        })
        .unwrap();
    }
    let before = open.view().unwrap();
    let [told] = before.patches.scatters.as_slice() else {
        panic!("{:?}", before.patches.scatters);
    };
    assert!(told.words.starts_with("As painted, "), "{}", told.words);
    let change = |as_painted| Change::Scatter {
        tube: "cliff-rose".into(),
        as_painted,
    };
    open.change(&change(true)).unwrap();
    let scatter = open.plan.corrections[0].scatter;
    assert!((scatter / 1.6 - 1.0).abs() < 0.15, "{scatter}");
    let after = open.view().unwrap();
    assert!(after.patches.scatters[0].corrected);
    assert_ne!(labs(&after), labs(&before));
    // Its patches are foretold better, its card is as it was, and everything reads again.
    let off = |view: &PictureView| -> f64 {
        let apart = |row: &super::patches::PatchView| {
            let predicted = row.predicted.as_ref().expect("a tube at hand").tone.lab;
            let lab = |[l, a, b]: [f64; 3]| Lab::new(l, a, b);
            colour::difference(lab(predicted), lab(row.painted.lab))
        };
        view.patches.rows.iter().map(apart).sum()
    };
    assert!(
        off(&after) < 0.6 * off(&before),
        "{} {}",
        off(&after),
        off(&before)
    );
    assert_eq!(open.tubes[0].on_card, card.constants().unwrap());
    let text = open.write();
    let mut again = OpenPicture::read(&text).unwrap();
    assert_eq!(again.write(), text);
    again
        .use_tubes(vec![("cliff-rose".into(), sample("cliff-rose"))])
        .unwrap();
    again.choose_colour(6);
    assert_eq!(labs(&again.view().unwrap()), labs(&after));
    // Back to the card, by its button or by undo.
    open.change(&change(false)).unwrap();
    assert_eq!(labs(&open.view().unwrap()), labs(&before));
    open.undo();
    open.undo();
    assert_eq!(labs(&open.view().unwrap()), labs(&before));
}

/// One tube, brushed and rubbed on with a rag: two coats that are kept apart, with the tube, and known in every picture.
#[test]
fn coats_are_kept_with_the_tube_by_way_of_working() {
    let mut here = open();
    here.choose_colour(1);
    lay(&mut here, "cliff-rose", 0.6);
    let paint = |open: &mut OpenPicture, build: f64, way: &str| {
        let set = |open: &mut OpenPicture, build| {
            let pulling = false;
            open.change(&Change::Build {
                film: 0,
                build,
                pulling,
            })
            .unwrap();
        };
        set(open, build);
        let lab = open.view().unwrap().seen[1].tone.lab;
        set(open, 0.6);
        let (lab_sd, way) = ([0.5; 3], way.to_owned());
        open.change(&Change::AddPatch {
            tube: String::new(),
            coats: 0,
            over: None,
            lab,
            lab_sd,
            way,
            surface: Surface::Glossy,
        })
        .unwrap();
    };
    paint(&mut here, 0.9, "brush");
    paint(&mut here, 0.3, "Rag");
    paint(&mut here, 0.9, " Brush ");
    let count = |open: &mut OpenPicture, way: &str| {
        let way = way.to_owned();
        open.change(&Change::MyCoat { film: 0, way }).unwrap();
        open.plan.films[0].build
    };
    assert!((count(&mut here, "BRUSH") / 0.9 - 1.0).abs() < 0.03);
    assert!((count(&mut here, "rag") / 0.3 - 1.0).abs() < 0.03);
    assert_eq!(here.view().unwrap().films[0].way.as_deref(), Some("rag"));
    assert!(here.my_coat("cliff-rose", "knife").is_none());
    let coats = here.view().unwrap().patches.coats;
    let rows: Vec<(&str, usize)> = coats.iter().map(|c| (c.way.as_str(), c.to_keep)).collect();
    assert_eq!(rows, [("brush", 2), ("Rag", 1)]);
    // Kept with the tube, it counts once, and another picture knows it.
    let text = here.with_scraps("cliff-rose", "brush").unwrap();
    let tubes = vec![("cliff-rose".to_owned(), text.clone())];
    here.use_tubes(tubes.clone()).unwrap();
    let coats = here.view().unwrap().patches.coats;
    assert_eq!(coats.iter().map(|c| c.to_keep).collect::<Vec<_>>(), [0, 1]);
    assert!(
        coats[0].words.ends_with("from 2 scraps"),
        "{}",
        coats[0].words
    );
    assert!(here.with_scraps("cliff-rose", "brush").is_err());
    let mut other = OpenPicture::new("Mill");
    other.use_tubes(tubes).unwrap();
    lay(&mut other, "cliff-rose", 1.0);
    assert!((count(&mut other, "brush") / 0.9 - 1.0).abs() < 0.03);
    // A number of one's own is no coat of one's own.
    other
        .change(&Change::Build {
            film: 0,
            build: 0.5,
            pulling: false,
        })
        .unwrap();
    let film = other.view().unwrap().films.remove(0);
    assert_eq!(film.way, None);
    assert_eq!(film.own, ["0.6 of my coats by brush"]);
    // From now on a film of it is one of these coats, unless it was asked for by its thickness.
    let tube = "cliff-rose".to_owned();
    other.change(&Change::Lay { tube, build: None }).unwrap();
    let film = other.view().unwrap().films.remove(1);
    assert_eq!(film.way.as_deref(), Some("brush"));
    assert!((film.build / 0.9 - 1.0).abs() < 0.03 && film.own.is_empty());
    assert!(other.plan.films[1].build_log_sd > 0.1);
    // The card's own reading is what it was.
    let (card, with) = (
        Record::read(&sample("cliff-rose")).unwrap(),
        Record::read(&text).unwrap(),
    );
    assert_eq!(with.constants().unwrap(), card.constants().unwrap());
    assert_eq!(
        Record {
            coats: Vec::new(),
            ..with
        },
        card
    );
}

/// The lane for a brushed coat of a printed card needs no scrap: its film is a coat by brush.
#[test]
fn a_brushed_lane_is_a_coat() {
    let mut record = Record::read(&sample("cliff-rose")).unwrap();
    let build = record.films[0].build;
    record.coats.push(crate::paint::file::Scrap {
        way: "brush".into(),
        coats: 1.0,
        film: Some(0),
        over: None,
        painted: None,
        from: String::new(),
    });
    let mut open = OpenPicture::new("Mill");
    open.use_tubes(vec![("rose".to_owned(), record.write())])
        .unwrap();
    let coat = open.my_coat("rose", "brush").expect("a coat");
    assert!((coat.build / build - 1.0).abs() < 1e-9);
    assert!(coat.log_sd > 0.2);
}

/// A scrap that dried dull looks lighter than the same film glossy: it tells the same coat, and lies within its range.
#[test]
fn a_dull_patch_is_judged_without_its_surface() {
    let mut open = open();
    open.choose_colour(2);
    lay(&mut open, "storm-blue", 1.2);
    let [l, a, b] = open.view().unwrap().seen[2].tone.lab;
    let glossy = colour::xyz(Lab::new(l, a, b));
    let (haze, _) = Surface::Matt.haze();
    let [x, y, z] = colour::WHITE.map(|white| haze * white);
    let dull = colour::lab(colour::Xyz::new(glossy.x + x, glossy.y + y, glossy.z + z));
    assert!(dull.l > l + 4.0, "{dull:?} over {l}");
    let add = |open: &mut OpenPicture, surface| {
        open.change(&Change::AddPatch {
            tube: String::new(),
            coats: 0,
            over: None,
            lab: [dull.l, dull.a, dull.b],
            lab_sd: [0.5; 3],
            way: format!("{surface:?}"),
            surface,
        })
        .unwrap();
    };
    add(&mut open, Surface::Glossy);
    add(&mut open, Surface::Matt);
    let view = open.view().unwrap();
    assert!(
        view.patches.rows[1]
            .words
            .starts_with("0.0 apart once its dull surface is taken off, within")
    );
    assert!(
        !view.patches.rows[0].words.starts_with("0.0"),
        "{}",
        view.patches.rows[0].words
    );
    let coat = |way: &str| open.my_coat("storm-blue", way).map(|coat| coat.build);
    assert!((coat("matt").unwrap() / 1.2 - 1.0).abs() < 0.03);
    assert!(coat("glossy").is_none_or(|build| (build / 1.2 - 1.0).abs() > 0.08));
    // Kept with the tube, it is still known as dull.
    let kept = Record::read(&open.with_scraps("storm-blue", "matt").unwrap()).unwrap();
    let told = coat::told_by(&kept.constants().unwrap(), &kept, &kept.coats[0]).unwrap();
    assert!((libm::exp(told.log) / 1.2 - 1.0).abs() < 0.03, "{told:?}");
}

/// A film of any card may be one coat as the painter lays it; a wanted colour is then counted in such coats.
#[test]
fn a_wanted_colour_is_counted_in_the_painters_own_coats() {
    let record = Record::read(&sample("cliff-rose")).unwrap();
    let build = record.films[1].build;
    let with = crate::page::with_coat(record.clone(), 1, " brush ").unwrap();
    assert!(crate::page::with_coat(with.clone(), 1, "rag").is_err());
    assert!(crate::page::with_coat(record, 9, "rag").is_err());
    let mut open = OpenPicture::new("Mill");
    open.use_tubes(vec![("rose".to_owned(), with.write())])
        .unwrap();
    open.choose_colour(1);
    lay(&mut open, "rose", 2.0 * build);
    let wanted = open.view().unwrap().seen[1].tone.lab;
    let row = open.wanted(wanted).unwrap().rows.remove(0);
    assert!(
        row.coats.ends_with(", 2.0 of my coats by brush"),
        "{}",
        row.coats
    );
    // Taken away again, the card is as it was.
    let without = crate::page::without_scrap(with, 0).unwrap();
    assert_eq!(
        without.write(),
        Record::read(&sample("cliff-rose")).unwrap().write()
    );
}

/// Cards drawn with different gauges have no common unit until a tint says how their films compare.
#[test]
fn a_tint_of_known_ratio_brings_parts_to_one_unit() {
    /// How many times as thick as a common film each card's own is.
    const THICK: [f64; 4] = [0.5, 1.0, 2.2, 1.0];
    let real: Vec<Constants> = NAMES
        .iter()
        .map(|name| Record::read(&sample(name)).unwrap().constants().unwrap())
        .collect();
    let tubes = || -> Vec<(String, String)> {
        let cards = NAMES.iter().zip(THICK).map(|(name, thick)| {
            let mut record = Record::read(&sample(name)).unwrap();
            record.absorption.iter_mut().for_each(|k| *k *= thick);
            record.scattering.iter_mut().for_each(|s| *s *= thick);
            record.paint.name = format!("my {name}");
            ((*name).to_owned(), record.write())
        });
        cards.collect()
    };
    let thick = |parts: &[(usize, f64)]| {
        let parts: Vec<_> = parts.iter().map(|&(i, part)| (&real[i], part)).collect();
        let lab = picture::mix::too_thick(&picture::mix::mix(&parts, picture::mix::Unit::Common))
            .lab_of();
        [lab.l, lab.a, lab.b]
    };
    let (rose, blue, white) = (0, 1, 2);
    let mut open = open();
    open.use_tubes(tubes()).unwrap();
    open.choose_colour(1);
    lay(&mut open, "cliff-rose", 0.5);
    let part = |key: &str, parts: f64| Part {
        key: key.to_owned(),
        parts,
    };
    let asked = [part("cliff-rose", 1.0), part("foam-white", 12.0)];
    let unknown = open.mixed(&asked, None).unwrap();
    assert!(
        !unknown.common && unknown.unit.contains("in a known ratio"),
        "{}",
        unknown.unit
    );
    // One part to eight is kept; other parts are foretold by it.
    let tint = |tube: &str, with: &str, lab: [f64; 3]| NewTint {
        tube: tube.into(),
        with: with.into(),
        parts: 1.0,
        with_parts: 8.0,
        by: crate::paint::file::Measure::Weight,
        card: None,
        lab: Some(lab),
        lab_sd: [0.5; 3],
        surface: Surface::Glossy,
    };
    let of_rose = tint(
        "cliff-rose",
        "foam-white",
        thick(&[(rose, 1.0), (white, 8.0)]),
    );
    let keep = |open: &mut OpenPicture, key: &str, text: String| {
        let mut all: Vec<(String, String)> = open
            .tubes
            .iter()
            .map(|t| (t.key.clone(), t.text.clone()))
            .collect();
        all.iter_mut()
            .filter(|(of, _)| of == key)
            .for_each(|(_, old)| old.clone_from(&text));
        open.use_tubes(all).unwrap();
    };
    let text = open.with_tint(&of_rose).unwrap();
    keep(&mut open, "cliff-rose", text.clone());
    let tied = open.mixed(&asked, None).unwrap();
    let off = |view: &MixView, lab: [f64; 3]| {
        let [l, a, b] = view.mix.tone.lab;
        colour::difference(Lab::new(l, a, b), Lab::new(lab[0], lab[1], lab[2]))
    };
    let expected = thick(&[(rose, 1.0), (white, 12.0)]);
    assert!(
        tied.common && tied.by_weight && tied.unit.contains("my foam-white"),
        "{}",
        tied.unit
    );
    assert!(off(&tied, expected) < 0.3, "{}", off(&tied, expected));
    assert!(off(&unknown, expected) > 3.0, "{}", off(&unknown, expected));
    assert!(
        tied.mix.range < 0.7 * unknown.mix.range,
        "{} {}",
        tied.mix.range,
        unknown.mix.range
    );
    assert!(
        tied.tints[0].starts_with(
            "Tint of my cliff-rose, 1 part to 8 of my foam-white, by weight: a part is "
        ),
        "{:?}",
        tied.tints
    );
    // The card's own reading is what it was, and the tint is on its page.
    let with = Record::read(&text).unwrap();
    assert_eq!(crate::page::PaintView::of(&with).unwrap().tints.len(), 1);
    let (of_card, without) = (
        tubes().remove(rose).1,
        crate::page::without_tint(with.clone(), 0).unwrap(),
    );
    assert_eq!(without.write(), of_card);
    assert!(crate::page::without_tint(without, 0).is_err());
    // Two tubes with the same white compare also where the white is not in the mix; measured otherwise, they do not.
    let both = [part("cliff-rose", 1.0), part("storm-blue", 2.0)];
    assert!(!open.mixed(&both, None).unwrap().common);
    let of_blue = tint(
        "storm-blue",
        "foam-white",
        thick(&[(blue, 1.0), (white, 8.0)]),
    );
    let by_volume = NewTint {
        by: crate::paint::file::Measure::Volume,
        ..of_blue.clone()
    };
    let before: Vec<_> = open
        .tubes
        .iter()
        .map(|t| (t.key.clone(), t.text.clone()))
        .collect();
    let text = open.with_tint(&by_volume).unwrap();
    keep(&mut open, "storm-blue", text);
    assert!(!open.mixed(&both, None).unwrap().common);
    open.use_tubes(before).unwrap();
    let text = open.with_tint(&of_blue).unwrap();
    keep(&mut open, "storm-blue", text);
    let tied = open.mixed(&both, None).unwrap();
    let expected = thick(&[(rose, 1.0), (blue, 2.0)]);
    assert!(
        tied.common && off(&tied, expected) < 0.5,
        "{} {}",
        tied.unit,
        off(&tied, expected)
    );
    // A tint's own card serves as well as a scrap of it.
    let mut card = Record::read(&sample("cliff-rose")).unwrap();
    let parts = [(&real[rose], 1.0), (&real[white], 8.0)];
    let stirred = picture::mix::mix(&parts, picture::mix::Unit::Common);
    card.absorption = stirred.absorption.to_vec();
    card.scattering = stirred.scattering.to_vec();
    card.basis.transport.anisotropy = stirred.anisotropy;
    card.paint.name = "rose tint".into();
    let mut all = tubes();
    all.push(("tint".into(), card.write()));
    open.use_tubes(all).unwrap();
    let by_card = NewTint {
        card: Some("tint".into()),
        lab: None,
        ..of_rose.clone()
    };
    let text = open.with_tint(&by_card).unwrap();
    keep(&mut open, "cliff-rose", text);
    let tied = open.mixed(&asked, None).unwrap();
    assert!(
        tied.common && off(&tied, thick(&[(rose, 1.0), (white, 12.0)])) < 0.5,
        "{}",
        tied.unit
    );
    // Without the white's card nothing can be compared with it: that is said.
    open.use_tubes(vec![
        ("cliff-rose".into(), open.tubes[rose].text.clone()),
        ("storm-blue".into(), open.tubes[blue].text.clone()),
    ])
    .unwrap();
    let alone = open.mixed(&both, None).unwrap();
    assert!(
        !alone.common && alone.tints[0].contains("my foam-white is not at hand"),
        "{:?}",
        alone.tints
    );
    // What cannot serve is refused, and why.
    open.use_tubes(tubes()).unwrap();
    let refused = |tint: NewTint, words: &str| {
        let error = open.with_tint(&tint).unwrap_err().to_string();
        assert!(error.contains(words), "{error}");
    };
    refused(
        tint("cliff-rose", "foam-white", [60.0, -50.0, 30.0]),
        "from every mix of",
    );
    refused(
        tint("cliff-rose", "cliff-rose", [60.0, 20.0, 5.0]),
        "two paints",
    );
    refused(
        tint("cliff-rose", "foam-white", [160.0, 0.0, 0.0]),
        "not between 0 and 100",
    );
    let parts = NewTint {
        parts: 0.0,
        ..of_rose.clone()
    };
    refused(parts, "parts of both");
    let nothing = NewTint {
        lab: None,
        ..of_rose.clone()
    };
    refused(nothing, "how the tint came out");
    let bare = NewTint {
        parts: 0.001,
        with_parts: 900.0,
        lab: Some(thick(&[(white, 1.0)])),
        ..of_rose
    };
    refused(bare, "hardly tells");
}

/// CIEDE2000 between two spots.
fn off_by(one: &super::view::Spot, other: &super::view::Spot) -> f64 {
    let lab = |[l, a, b]: [f64; 3]| Lab::new(l, a, b);
    colour::difference(lab(one.tone.lab), lab(other.tone.lab))
}

/// Three cards of one tube, one of them of another paint by mistake: the two that agree are predicted by, in films of whichever
/// card is asked, and the third is named.
#[test]
fn readings_of_one_tube_are_predicted_by_their_mean() {
    let reading = |name: &str, scale: f64, file: &str| {
        let mut record = Record::read(&sample(name)).unwrap();
        record.paint.name = "My rose".into();
        record.provenance.file_name = file.into();
        // The same paint on a card whose middle film is so many times as thick.
        record.absorption.iter_mut().for_each(|k| *k *= scale);
        record.scattering.iter_mut().for_each(|s| *s *= scale);
        // No two scans give the same numbers.
        record.cells[0].xyz[1] *= 1.0 + 0.001 * scale;
        record.write()
    };
    let mut open = OpenPicture::new("Mill");
    let thin = ("thin".to_owned(), reading("cliff-rose", 1.0, "one.tif"));
    let thick = ("thick".to_owned(), reading("cliff-rose", 2.0, "two.tif"));
    let wrong = ("wrong".to_owned(), reading("storm-blue", 1.0, "three.tif"));
    open.use_tubes(vec![thin.clone()]).unwrap();
    lay(&mut open, "thin", 0.8);
    let alone = open.view().unwrap();
    open.use_tubes(vec![thin, thick, wrong]).unwrap();
    let together = open.view().unwrap();
    for (one, all) in alone.seen.iter().zip(&together.seen) {
        assert!(off_by(one, all) < 0.01, "{one:?} {all:?}");
        assert!(all.range < one.range);
    }
    let told = together
        .cautions
        .iter()
        .any(|words| words.contains("three.tif is the odd one out"));
    assert!(told, "{:?}", together.cautions);
    // Half as many films of the thick card are as much paint.
    open.change(&Change::LayAlone {
        tube: "thick".into(),
        build: Some(0.4),
    })
    .unwrap();
    for (one, all) in open.view().unwrap().seen.iter().zip(&together.seen) {
        assert!(off_by(one, all) < 0.01);
    }
    // One tube to choose, not three.
    let rows = open.tubes().unwrap().rows;
    assert_eq!(
        rows.iter().map(|row| row.key.as_str()).collect::<Vec<_>>(),
        ["thin"]
    );
}

/// A mean of a patch that came out far lighter and one far darker would hide both.
#[test]
fn patches_that_miss_both_ways_are_said_to() {
    let mut open = open();
    lay(&mut open, "storm-blue", 0.5);
    for l in [2.0, 98.0] {
        open.change(&Change::AddPatch {
            tube: String::new(),
            coats: 0,
            over: Some(1),
            lab: [l, 0.0, 0.0],
            lab_sd: [0.5; 3],
            way: String::new(),
            surface: Surface::Glossy,
        })
        .unwrap();
    }
    let sentence = open.view().unwrap().patches.sentence;
    assert!(sentence.contains("run both ways"), "{sentence}");
}

/// A sample paint is nobody's second card, though the painter's own tube has its name.
#[test]
fn a_sample_is_no_reading_of_a_tube() {
    let mut open = OpenPicture::new("Mill");
    let sample_of = |key: &str| (key.to_owned(), sample("kelp-green"));
    open.use_tubes(vec![sample_of("sample-kelp green")])
        .unwrap();
    lay(&mut open, "sample-kelp green", 0.8);
    let alone = open.view().unwrap();
    open.use_tubes(vec![sample_of("kept-1"), sample_of("sample-kelp green")])
        .unwrap();
    let beside = open.view().unwrap();
    for (one, all) in alone.seen.iter().zip(&beside.seen) {
        assert!(off_by(one, all) < 0.01 && (one.range - all.range).abs() < 0.01);
    }
    let readings = |words: &String| words.contains("readings");
    assert!(
        !beside.cautions.iter().any(readings),
        "{:?}",
        beside.cautions
    );
    // Two cards of the painter's own are two readings.
    let mut second = Record::read(&sample("kelp-green")).unwrap();
    second.provenance.file_name = "another day.png".into();
    second.cells[0].xyz[1] *= 1.001;
    open.use_tubes(vec![
        sample_of("kept-1"),
        ("kept-2".to_owned(), second.write()),
    ])
    .unwrap();
    open.change(&Change::LayAlone {
        tube: "kept-1".into(),
        build: Some(0.8),
    })
    .unwrap();
    let cautions = open.view().unwrap().cautions;
    assert!(cautions.iter().any(readings), "{cautions:?}");
}

/// Usual mediums are a beginning: one choice gives their parts, which can then be changed; cautions are those of what is in it.
#[test]
fn a_usual_medium_is_chosen_and_its_parts_changed() {
    let mut open = open();
    lay(&mut open, "lantern-gold", 0.5);
    let place = |open: &mut OpenPicture, words: &str| {
        let media = open.view().unwrap().media;
        media.iter().position(|of| of.contains(words)).unwrap()
    };
    let said = |open: &mut OpenPicture, words: &str| {
        let cautions = open.view().unwrap().cautions;
        cautions.iter().any(|caution| caution.contains(words))
    };
    assert_eq!(open.view().unwrap().films[0].recipe, "Thinned: not at all");
    let medium = Some(place(&mut open, "stand oil 1, solvent 3"));
    open.change(&Change::Medium { film: 0, medium }).unwrap();
    let film = open.view().unwrap().films.remove(0);
    assert_eq!(film.medium, medium);
    let parts = [
        film.thinning.paint,
        film.thinning.stays,
        film.thinning.evaporates,
    ];
    assert_eq!(parts, [4.0, 1.0, 3.0]);
    assert_eq!(
        film.recipe,
        "Thinned: paint 1 to medium 1 (stand oil 1, solvent 3)"
    );
    assert!(said(
        &mut open,
        "Solvent: air the room; odourless is not harmless. Rags"
    ));
    // Oil alone has no solvent, and its rags heat up all the same.
    let oil = Some(place(&mut open, "linseed"));
    open.change(&Change::Medium {
        film: 0,
        medium: oil,
    })
    .unwrap();
    assert!(said(&mut open, "Rags with oil") && !said(&mut open, "Solvent"));
    open.undo();
    assert!(!said(&mut open, "Much oil yellows"));
    // More of it, and then in parts of one's own.
    for (paint, stays, recipe) in [
        (
            0.5,
            1.0,
            "Thinned: paint 1 to medium 8 (stand oil 1, solvent 3)",
        ),
        (
            1.0,
            3.0,
            "Thinned: paint 1 to medium 6 (stand oil 1, solvent 3, in parts of your own)",
        ),
    ] {
        let thinning = Thinning {
            paint,
            stays,
            evaporates: 3.0,
        };
        open.change(&Change::Thin { film: 0, thinning }).unwrap();
        assert_eq!(open.view().unwrap().films[0].recipe, recipe);
    }
    assert!(said(&mut open, "Much oil yellows"));
    // On paper, too, it stands in parts.
    assert!(
        open.sheet().unwrap().films[0]
            .recipe
            .starts_with("Thinned: paint 1 to medium 6")
    );
    let medium = Some(place(&mut open, "damar"));
    open.change(&Change::Medium { film: 0, medium }).unwrap();
    assert!(said(&mut open, "Damar yellows and stays soluble"));
    // What is saved comes back; none is none, and one step back is the medium again.
    let again = OpenPicture::read(&open.write()).unwrap();
    assert_eq!(again.plan, open.plan);
    open.change(&Change::Medium {
        film: 0,
        medium: None,
    })
    .unwrap();
    assert_eq!(open.view().unwrap().films[0].recipe, "Thinned: not at all");
    assert!(!said(&mut open, "Damar") && !said(&mut open, "Solvent"));
    open.undo();
    assert_eq!(open.view().unwrap().films[0].medium, medium);
    // Acrylic medium is thinned by water.
    let medium = Some(place(&mut open, "acrylic"));
    open.change(&Change::Medium { film: 0, medium }).unwrap();
    assert!(!said(&mut open, "Solvent") && !said(&mut open, "Rags"));
}

/// A colour that was typed is as sure as the painter says, and the range says so; what was read says it itself.
#[test]
fn a_typed_colour_is_known_as_the_painter_says() {
    let mut open = open();
    open.change(&Change::ClearColours {}).unwrap();
    let known = open.view().unwrap().known;
    for (_, lab_sd) in known {
        open.change(&Change::AddColour {
            name: String::new(),
            lab: [60.0, 4.0, 12.0],
            lab_sd,
            surface: Surface::Glossy,
        })
        .unwrap();
    }
    open.change(&Change::AddMasstone {
        tube: "foam-white".into(),
    })
    .unwrap();
    // Bare, an instrument's colour is surer than one by eye; under a film the card may leave more open than an instrument does.
    let bare = open.view().unwrap().seen;
    assert!(bare[0].range > bare[1].range + 1.0 && bare[1].range > 0.5);
    assert_eq!(bare[2].range, 0.0);
    lay(&mut open, "lantern-gold", 0.5);
    let view = open.view().unwrap();
    let of = |view: &PictureView| view.colours.iter().map(|c| c.known).collect::<Vec<_>>();
    assert_eq!(of(&view), [Some(0), Some(1), Some(2), None]);
    let range = |i: usize| view.seen[i].range;
    assert!(range(0) > range(2) + 1.0, "{:?}", view.seen);
    // Said otherwise later.
    open.change(&Change::Known {
        colour: 2,
        lab_sd: known[0].1,
    })
    .unwrap();
    let later = open.view().unwrap();
    assert_eq!(later.seen[2], later.seen[0]);
    // A masstone's spread is its card's.
    let before = open.write();
    let (colour, lab_sd) = (3, known[0].1);
    assert!(open.change(&Change::Known { colour, lab_sd }).is_err());
    assert_eq!(open.write(), before);
}

/// As the page saved pictures before mediums were named and typed colours said how they are known.
#[test]
fn a_picture_saved_before_still_opens() {
    let mut open = open();
    open.change(&Change::AddColour {
        name: "sky".into(),
        lab: [70.0, -3.0, -12.0],
        lab_sd: [0.0; 3],
        surface: Surface::Matt,
    })
    .unwrap();
    lay(&mut open, "lantern-gold", 0.5);
    let thinning = Thinning {
        paint: 1.0,
        stays: 1.0,
        evaporates: 2.0,
    };
    open.change(&Change::Thin { film: 0, thinning }).unwrap();
    let mut text: serde_json::Value = serde_json::from_str(&open.write()).unwrap();
    let film = text["films"][0].as_object_mut().unwrap();
    assert!(!film.contains_key("medium"), "as it was saved before");
    let last = text["colours"].as_array_mut().unwrap().last_mut().unwrap();
    last.as_object_mut().unwrap().remove("lab_sd");
    let mut again = OpenPicture::read(&text.to_string()).unwrap();
    let view = again.view().unwrap();
    assert_eq!(
        view.films[0].recipe,
        "Thinned: paint 1, medium that stays 1, what evaporates 2"
    );
    assert_eq!(view.colours.last().unwrap().known, Some(2));
}

/// What is typed out of reach is refused in the typist's words, and changes nothing.
#[test]
fn what_is_typed_out_of_reach_is_refused_in_plain_words() {
    let mut open = open();
    lay(&mut open, "lantern-gold", 0.5);
    let before = open.write();
    let mut refusal = |change: Change| open.change(&change).unwrap_err().to_string();
    let colour = Change::AddColour {
        name: "x".into(),
        lab: [120.0, 0.0, 0.0],
        lab_sd: [4.0; 3],
        surface: Surface::Glossy,
    };
    let l = "L* is not between 0 and 100. Choose a value that is.";
    assert_eq!(refusal(colour), l);
    let colour = Change::AddColour {
        name: "x".into(),
        lab: [50.0, 200.0, 0.0],
        lab_sd: [4.0; 3],
        surface: Surface::Glossy,
    };
    let a = "The a* is not between -150 and 150. Choose a value that is.";
    assert_eq!(refusal(colour).replace('−', "-"), a);
    let thinning = Thinning {
        paint: -2.0,
        stays: 1.0,
        evaporates: 0.0,
    };
    let paint = "Paint is not between 0.01 and 100. Choose a value that is.";
    assert_eq!(refusal(Change::Thin { film: 0, thinning }), paint);
    let coats = "Coats is more than 20; take some away first.";
    assert_eq!(refusal(Change::Coats { film: 0, coats: 21 }), coats);
    assert_eq!(open.write(), before);
}

/// A patch that tells no coat says so, here one that no film of the tube comes near.
#[test]
fn a_patch_that_tells_no_coat_says_so() {
    let mut open = open();
    lay(&mut open, "lantern-gold", 0.5);
    let seen = open.view().unwrap().seen[0].tone.lab;
    for lab in [seen, [40.0, 40.0, -40.0]] {
        open.change(&Change::AddPatch {
            tube: String::new(),
            coats: 0,
            over: None,
            lab,
            lab_sd: [0.5; 3],
            way: String::new(),
            surface: Surface::Glossy,
        })
        .unwrap();
    }
    let rows = open.view().unwrap().patches.rows;
    let silent = |i: usize| rows[i].words.contains("to tell your coat");
    assert!(!silent(0), "{}", rows[0].words);
    assert!(silent(1), "{}", rows[1].words);
}
