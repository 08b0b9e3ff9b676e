//! Cards that cannot tell everything: each kind is drawn, scanned and read, has to be noticed, and what is predicted from it all the
//! same has to lie within its range.

#[path = "support/drawn.rs"]
mod drawn;

use twoground::{
    card::find,
    colour::{self, Lab},
    film::surface,
    page::{self, OpenScan},
    paint::{
        Record,
        file::{Grade, State, Surface},
        verdict,
    },
    picture::{self, Ground},
    reading::{self, Answers, Reading},
    scan::decode,
    simulate::{self, InventedPaint, Scene, paints, trials},
    spectrum,
};

fn named(name: &str) -> InventedPaint {
    paints::named(name).expect("an invented paint")
}

/// A card of these films, and what was read of it.
fn card(paint: InventedPaint, builds: &[f64]) -> (Scene, Reading) {
    let scene = drawn::scene(paint, 0.4, builds);
    let reading = drawn::read(&scene, &Answers::default());
    (scene, reading)
}

/// The paint with its scatter changed.
fn scattering(mut paint: InventedPaint, factor: f64) -> InventedPaint {
    paint.scattering.iter_mut().for_each(|s| *s *= factor);
    paint
}

/// Lights, middles, darks and colours.
const GROUNDS: [[f64; 3]; 9] = [
    [90.0, 0.0, 2.0],
    [70.0, 0.0, 0.0],
    [50.0, 0.0, 0.0],
    [30.0, 0.0, 0.0],
    [12.0, 0.0, 0.0],
    [60.0, 35.0, 30.0],
    [45.0, -30.0, 20.0],
    [70.0, 5.0, 50.0],
    [35.0, 10.0, -35.0],
];

/// Errors and ranges of films of the given builds (of the card's reference film) over all grounds.
fn predictions(scene: &Scene, record: &Record, builds: &[f64]) -> Vec<(f64, f64)> {
    let paint = &scene.cards[0].paint;
    let unit = scene.cards[0].films[record.reference_film].build;
    let mut all = Vec::new();
    for &build in builds {
        for [l, a, b] in GROUNDS {
            let lab = Lab::new(l, a, b);
            let ground = Ground::of(lab).internal.map(surface::to_measured);
            let truth = scene.light.film_over(paint, build * unit, &ground);
            let answer = picture::answer(&[record], &[build], lab).expect("a prediction");
            let error =
                colour::difference(colour::lab(spectrum::xyz_of(&truth)), answer.predicted.lab);
            all.push((error, answer.predicted.range));
        }
    }
    all
}

#[track_caller]
fn assert_held(what: &str, all: &[(f64, f64)]) {
    let held = all.iter().filter(|(error, range)| error <= range).count();
    assert!(
        held as f64 >= 0.9 * all.len() as f64,
        "{what}: {held} of {}: {all:?}",
        all.len()
    );
}

fn worst(all: &[(f64, f64)]) -> (f64, f64) {
    all.iter().fold((0.0, 0.0), |(e, r), (error, range)| {
        (f64::max(e, *error), f64::max(r, *range))
    })
}

#[track_caller]
fn assert_told(reading: &Reading, code: &str) {
    let codes: Vec<_> = reading.findings.iter().map(|f| f.code).collect();
    assert!(codes.contains(&code), "{code} is not among {codes:?}");
}

fn notes(record: &Record, build: f64) -> String {
    picture::answer(&[record], &[build], Lab::new(40.0, 0.0, 0.0))
        .expect("a prediction")
        .notes
        .join(" ")
}

#[test]
fn hidden_stripes_leave_the_body_colour() {
    for (paint, builds) in [
        ("dense red", &[2.0, 4.0, 8.0][..]),
        ("dense white", &[3.0, 6.0, 12.0]),
        ("dense yellow", &[6.0]),
    ] {
        let (scene, reading) = card(named(paint), builds);
        assert_eq!(reading.record.state, State::MasstoneOnly, "{paint}");
        assert_told(&reading, "hidden");
        let record = drawn::kept(&reading);
        assert_eq!(
            (record.opacity.grade, record.opacity.milk_on_black),
            (None, None),
            "{paint}"
        );
        assert!(record.opacity.masstone_lab.is_some(), "{paint}");
        // As drawn and thicker: the body colour, over anything.
        let drawn = predictions(&scene, &record, &[1.0, 2.0, 4.0]);
        assert_held(paint, &drawn);
        assert!(
            worst(&drawn).0 < 1.0 && worst(&drawn).1 < 10.0,
            "{paint}: {:?}",
            worst(&drawn)
        );
        assert!(
            notes(&record, 1.0).contains("Masstone only") && !notes(&record, 1.0).contains("guess")
        );
        // Much thinner: a wide guess, and said.
        assert_held(paint, &predictions(&scene, &record, &[0.1, 0.25]));
        assert!(
            notes(&record, 0.1)
                .contains("a guess. Do not rely on it before a thinner film is drawn"),
            "{paint}"
        );
        let verdict = verdict::words(
            record.state,
            None,
            None,
            record.opacity.contrast_ratio[0],
            None,
        );
        assert_eq!(verdict.headline, "Masstone only.");
        assert!(verdict.thinned.contains("about a quarter as thick"));
    }
}

#[test]
fn an_unchanged_black_bounds_the_scatter() {
    for (paint, builds) in [
        ("rose lake", [0.1, 0.2, 0.4]),
        ("clear yellow", [0.4, 0.8, 1.6]),
    ] {
        let (scene, reading) = card(scattering(named(paint), 0.03), &builds);
        assert_eq!(reading.record.state, State::ScatterAtMost, "{paint}");
        assert_told(&reading, "too-clear");
        let record = drawn::kept(&reading);
        assert_eq!(record.opacity.grade, Some(Grade::Clear), "{paint}");
        let all = predictions(&scene, &record, &[0.25, 0.5, 1.0, 2.0, 4.0]);
        assert_held(paint, &all);
        // Over the deepest ground the range knows that the scatter is not known; over the white it is as ever.
        let at = |ground: usize| {
            all.iter()
                .skip(ground)
                .step_by(GROUNDS.len())
                .map(|(_, range)| *range)
                .fold(0.0, f64::max)
        };
        assert!(at(4) > 5.0, "{paint}: {}", at(4));
        let note = notes(&record, 1.0);
        assert!(
            note.contains("It scatters less than this scan can see")
                && note.contains("Over the deepest darks the range of thick films is wide"),
            "{note}"
        );
    }
}

#[test]
fn black_cells_bound_the_absorption() {
    for paint in ["hearth black", "dark umber"] {
        let (scene, reading) = card(named(paint), &[2.0, 4.0, 8.0]);
        assert_eq!(reading.record.state, State::AbsorptionAtLeast, "{paint}");
        assert_told(&reading, "too-dark");
        let record = drawn::kept(&reading);
        let opacity = &record.opacity;
        assert_eq!(
            (opacity.grade, opacity.milk_on_black, opacity.masstone_lab),
            (None, None, None),
            "{paint}"
        );
        assert_held(paint, &predictions(&scene, &record, &[1.0, 2.0, 4.0]));
        let thin = predictions(&scene, &record, &[0.1, 0.25]);
        assert_held(paint, &thin);
        assert!(
            worst(&thin).1 > 20.0,
            "{paint}: a guess has a wide range, {:?}",
            worst(&thin)
        );
        assert!(
            notes(&record, 0.1).contains("Draw it thinner")
                && notes(&record, 0.1).contains("guess"),
            "{paint}"
        );
    }
}

#[test]
fn one_film_widens_the_range() {
    for paint in ["rose lake", "field earth", "blue lake"] {
        let (scene, reading) = card(named(paint), &[0.6]);
        assert_eq!(reading.record.state, State::OneFilm, "{paint}");
        assert_told(&reading, "one-film");
        let one = predictions(&scene, &drawn::kept(&reading), &[0.5, 1.0, 2.0]);
        assert_held(paint, &one);
        let (scene, reading) = card(named(paint), &[0.3, 0.6, 1.2]);
        assert_ne!(reading.record.state, State::OneFilm, "{paint}");
        let three = predictions(&scene, &drawn::kept(&reading), &[0.5, 1.0, 2.0]);
        assert_held(paint, &three);
        let mean =
            |all: &[(f64, f64)]| all.iter().map(|(_, range)| range).sum::<f64>() / all.len() as f64;
        assert!(
            mean(&one) > 1.3 * mean(&three),
            "{paint}: {} {}",
            mean(&one),
            mean(&three)
        );
    }
}

/// A dull surface lifts black alike under every film; it is not milk.
#[test]
fn a_dull_surface_is_asked_about_and_is_no_milk() {
    for (paint, haze) in [
        ("rose lake", 0.03),
        ("clear rust", 0.02),
        ("clear green", 0.03),
    ] {
        let mut scene = drawn::scene(named(paint), 0.4, &[0.46, 1.0, 2.1]);
        scene.cards[0].haze = haze;
        let glossy = drawn::read(&scene, &Answers::default());
        assert!(glossy.dull, "{paint}");
        assert_told(&glossy, "dull");
        let matt = drawn::read(
            &scene,
            &Answers {
                surface: Surface::Matt,
                ..Answers::default()
            },
        );
        for reading in [&glossy, &matt] {
            let record = drawn::kept(reading);
            assert!(
                matches!(record.opacity.grade, Some(Grade::Clear)),
                "{paint}: {:?}",
                record.opacity.grade
            );
            assert_held(
                paint,
                &predictions(&scene, &record, &[0.25, 0.5, 1.0, 2.0, 4.0]),
            );
            assert!(
                notes(&record, 1.0).contains("the colours are those of a glossy one"),
                "{paint}"
            );
        }
    }
}

/// Interference: over black brighter than over white. No film of pigment does that.
#[test]
fn what_no_film_explains_is_kept_as_a_picture() {
    let scene = drawn::scene(named("field earth"), 0.4, &[0.46, 1.0, 2.1]);
    let bytes = twoground::simulate::render(&scene).bytes().expect("a file");
    let scan = twoground::scan::decode::decode(&bytes, "card.png").expect("a picture");
    let layout = &twoground::card::find::find(&scan).expect("a card")[0];
    let mut sampled = twoground::card::cells::sample(&scan, layout).expect("cells");
    for pair in sampled.pooled.chunks_mut(2) {
        let (white, black) = pair.split_at_mut(1);
        std::mem::swap(&mut white[0].xyz, &mut black[0].xyz);
    }
    let reading = reading::read_sampled(&scan, layout, sampled, &Answers::default());
    assert_eq!(reading.record.state, State::NotModelled);
    assert_told(&reading, "not-modelled");
    let record = drawn::kept(&reading);
    assert!(
        record.absorption.is_empty() && record.opacity.grade.is_none() && reading.fitted.is_none()
    );
    let refused =
        picture::answer(&[&record], &[1.0], Lab::new(50.0, 0.0, 0.0)).expect_err("no prediction");
    assert!(
        refused
            .to_string()
            .contains("has no constants, only a picture"),
        "{refused}"
    );
    // The page shows the cells and says so.
    let shown = page::PaintView::of(&record).expect("a page");
    let shown = serde_json::to_string(&shown).expect("JSON");
    assert!(shown.contains("Picture only."), "{shown}");
}

/// A film that shines without being brighter than the bare white gives itself away by colours that no thickness explains.
#[test]
fn a_fluorescent_paint_is_no_paint_that_is_known() {
    for name in ["rose lake", "blue lake", "clear green"] {
        let mut scene = drawn::scene(named(name), 0.4, &[0.46, 1.0, 2.1]);
        let dull = drawn::read(&scene, &Answers::default());
        assert_ne!(dull.record.state, State::NotModelled, "{name}");
        scene.cards[0].glow = 0.9;
        let reading = drawn::read(&scene, &Answers::default());
        assert_eq!(reading.record.state, State::NotModelled, "{name}");
        assert_told(&reading, "not-modelled");
        assert!(reading.fitted.is_none());
    }
}

/// Writing across the stripes that was taken for a film keeps the films from being one paint's. It is left out, and asked about; the
/// painter's word holds.
#[test]
fn what_is_no_film_of_the_paint_is_left_out_and_asked_about() {
    let scene = trials::scene(130_080, 142.0);
    let bytes = simulate::render(&scene).bytes().expect("a picture");
    let scan = decode::decode(&bytes, "written.png").expect("a picture");
    let layouts = find::find(&scan).expect("a card");
    assert_eq!(layouts[0].films.len(), scene.cards[0].films.len() + 1);

    let reading = reading::read_card(&scan, &layouts[0], &Answers::default()).expect("cells");
    assert_ne!(reading.record.state, State::NotModelled);
    assert_eq!(reading.record.films.len(), scene.cards[0].films.len());
    let asks = |code: &&str| reading.layout.doubts.iter().any(|d| d.code == *code);
    assert!(asks(&reading::STRANGER) && !asks(&"film-count"));

    let mut open = OpenScan::new(&bytes, "written.png", String::new(), false).expect("a scan");
    let mut read = |change: &dyn Fn(&mut OpenScan)| {
        change(&mut open);
        open.sample();
        open.fit();
        let view = open.view().expect("a view");
        let films = view.paint.map(|_| open.record().expect("a record"));
        let state = films.map(|record| (record.state, record.films.len()));
        let told = view
            .findings
            .iter()
            .any(|finding| finding.code == "left-out");
        let question = serde_json::to_string(&view.question).expect("JSON");
        (question, told, state)
    };
    const STRANGER: &str = "It does not go with the others and was left out.";
    let modelled = (reading.record.state, scene.cards[0].films.len());
    let (question, told, state) = read(&OpenScan::find);
    assert!(!told, "it is asked about, and not told beside");
    assert!(question.contains(STRANGER), "{question}");
    assert_eq!(state, Some(modelled));
    let film = (0..=modelled.1)
        .find(|film| {
            question.contains(&format!(
                "\"do\":\"put-back\",\"words\":\"Yes, count it\",\"film\":{film}}}"
            ))
        })
        .expect("a film to count");
    let (question, _, state) = read(&|open| open.leave_out(film, None, false));
    assert!(!question.contains(STRANGER), "{question}");
    assert_eq!(state, Some((State::NotModelled, modelled.1 + 1)));
    let count = |open: &mut OpenScan| open.count_films(modelled.1 + 1).expect("so many films");
    let (question, _, state) = read(&count);
    assert!(!question.contains(STRANGER), "{question}");
    assert_eq!(state, Some((State::NotModelled, modelled.1 + 1)));
    let (_, told, state) = read(&|open| open.leave_out(film, None, true));
    assert!(told);
    assert_eq!(state, Some(modelled));
}

/// Through a plastic sleeve everything is lifted: it is said, and the range holds all the same.
#[test]
fn a_card_in_its_sleeve_is_told_and_widens_its_range() {
    let mut scene = drawn::scene(named("blue lake"), 0.4, &[0.46, 1.0, 2.1]);
    let clean = drawn::read(&scene, &Answers::default()).record;
    scene.cards[0].sheet = 0.07;
    let reading = drawn::read(&scene, &Answers::default());
    assert_told(&reading, "under-plastic");
    let [clean, veiled] =
        [clean, reading.record].map(|r| predictions(&scene, &r, &[0.5, 1.0, 2.0]));
    let mean = |of: &[(f64, f64)]| of.iter().map(|(_, range)| range).sum::<f64>() / of.len() as f64;
    assert!(
        mean(&veiled) > mean(&clean),
        "{} {}",
        mean(&veiled),
        mean(&clean)
    );
    assert_held("through plastic", &veiled);
}

/// Automatic exposure and a clipped black are told with what to switch off.
#[test]
fn a_spoilt_exposure_names_the_switch() {
    for (spoil, code) in [
        (
            (|s: &mut Scene| s.scanner.exposure = 1.4) as fn(&mut Scene),
            "clipped-lights",
        ),
        (|s| s.scanner.offset = -0.05, "clipped-darks"),
    ] {
        let mut scene = drawn::scene(named("middle blue"), 0.4, &[0.46, 1.0, 2.1]);
        spoil(&mut scene);
        let reading = drawn::read(&scene, &Answers::default());
        assert_told(&reading, code);
        let finding = reading
            .findings
            .iter()
            .find(|f| f.code == code)
            .expect("it is told");
        assert!(
            finding.action.contains("Switch") || finding.action.contains("scan again"),
            "{}",
            finding.action
        );
    }
}
