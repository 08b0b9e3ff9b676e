use super::*;
use crate::card::{cells::sample, fixture::*};

/// Findings of a scan of the fixture's card, whose state is known.
fn seen(scan: &Scan) -> Vec<Finding> {
    of(scan, State::Known, |_| {})
}

fn of(scan: &Scan, state: State, change: impl Fn(&mut Sampled)) -> Vec<Finding> {
    let layout = layout();
    let mut sampled = sample(scan, &layout).unwrap();
    change(&mut sampled);
    let outcome = Outcome {
        level: Level::Scanner,
        state,
        dull: false,
        builds: &[],
    };
    findings(scan, &layout, &sampled, &outcome)
}

fn codes(found: &[Finding]) -> Vec<&str> {
    found.iter().map(|finding| finding.code).collect()
}

/// The finding of this code.
fn get<'a>(found: &'a [Finding], code: &str) -> &'a Finding {
    let all = codes(found);
    found
        .iter()
        .find(|finding| finding.code == code)
        .unwrap_or_else(|| panic!("no {code} in {all:?}"))
}

#[test]
fn a_good_scan_has_nothing_to_find() {
    assert_eq!(codes(&seen(&scan(true, card))), Vec::<&str>::new());
}

#[test]
fn every_state_but_known_has_its_sentence() {
    let scan = scan(true, card);
    let cases = [
        (State::MasstoneOnly, "hidden"),
        (State::AbsorptionAtLeast, "too-dark"),
        (State::ScatterAtMost, "too-clear"),
        (State::OneFilm, "one-film"),
        (State::NotModelled, "not-modelled"),
    ];
    for (state, code) in cases {
        assert_eq!(codes(&of(&scan, state, |_| {})), [code]);
    }
    // The brightest film is pointed at.
    let found = of(&scan, State::NotModelled, |sampled| {
        sampled.pooled[2].xyz[0] = 1.2
    });
    assert_eq!(get(&found, "not-modelled").place, Place::Film(1));
}

#[test]
fn what_the_file_lacks_is_said() {
    let mut scan = scan(true, card);
    scan.origin.profile_assumed = true;
    scan.origin.profile = "none: sRGB assumed".into();
    scan.origin.lossy = true;
    let found = seen(&scan);
    assert_eq!(
        get(&found, "no-profile").words,
        "The scan does not say what its colours mean; sRGB was assumed."
    );
    assert_eq!(get(&found, "jpeg").weight, Weight::Notes);
    scan.origin.profile = "for grey pictures: sRGB assumed".into();
    assert!(
        get(&seen(&scan), "no-profile")
            .words
            .contains("is for grey pictures;")
    );
    scan.origin.profile_assumed = false;
    scan.origin.notes = vec!["The file has several pages; only the first was read.".into()];
    assert!(get(&seen(&scan), "file").words.contains("several pages"));
}

#[test]
fn stretched_scans_are_suspected() {
    let bright = seen(&scan(false, |at| card(at).map(|v| 1.4 * v)));
    let lights = get(&bright, "clipped-lights");
    assert_eq!(
        (lights.place, lights.weight),
        (Place::Stripes(Ground::White), Weight::Spoils)
    );
    assert_eq!(bright[0].code, "clipped-lights");
    let dark = seen(&scan(false, |at| card(at).map(|v| v - 0.04)));
    assert_eq!(
        get(&dark, "clipped-darks").place,
        Place::Stripes(Ground::Black)
    );
    assert_eq!(
        get(&dark, "clipped-film").place,
        Place::Cells(0, Ground::Black)
    );
}

#[test]
fn a_channel_beyond_the_colour_space_is_no_fault_of_exposure() {
    let found = seen(&scan(false, |at| {
        let [r, g, b] = card(at);
        if [r, g, b] == GLAZE[0] {
            [r, g, -0.02]
        } else {
            [r, g, b]
        }
    }));
    assert_eq!(
        get(&found, "beyond-colours").place,
        Place::Cells(0, Ground::White)
    );
    assert!(!codes(&found).iter().any(|code| code.starts_with("clipped")));
}

#[test]
fn stripes_that_are_neither_black_nor_white_are_said() {
    let with = |white: [f64; 3], black: [f64; 3]| {
        seen(&scan(true, move |at| match card(at) {
            bare if bare == WHITE => white,
            bare if bare == BLACK => black,
            other => other,
        }))
    };
    assert_eq!(
        get(&with(WHITE, [0.1; 3]), "black-not-black")
            .words
            .split(' ')
            .nth(4),
        Some("10")
    );
    get(&with([0.5; 3], BLACK), "white-grey");
    get(&with([0.78, 0.80, 0.90], BLACK), "white-brightened");
    get(&with([0.80, 0.79, 0.68], BLACK), "white-yellowed");
}

#[test]
fn troubles_of_films_name_the_film() {
    let scan = scan(true, card);
    let found = of(&scan, State::Known, |sampled| {
        sampled.evenness[1] = 0.34;
        sampled.pooled[0].rejected_share = 0.2;
        sampled.pooled[3].pixels = 100;
        sampled.crossings[0].reached = false;
    });
    assert_eq!(
        get(&found, "uneven").words,
        "Film 2 is uneven: it varies by 34 % within itself."
    );
    assert_eq!(get(&found, "dirt").place, Place::Cells(0, Ground::White));
    assert!(
        get(&found, "few-pixels")
            .words
            .starts_with("Film 2 over black has only 100 pixels")
    );
    assert_eq!(get(&found, "short-film").place, Place::Film(0));
    let alike = of(&scan, State::Known, |sampled| {
        for i in 0..2 {
            sampled.pooled[2 + i].xyz = sampled.pooled[i].xyz;
        }
    });
    assert_eq!(codes(&alike), ["alike"]);
    // Films that look alike since they nearly hide, but are known to differ, are not.
    let mut sampled = sample(&scan, &layout()).unwrap();
    for i in 0..2 {
        sampled.pooled[2 + i].xyz = sampled.pooled[i].xyz;
    }
    let outcome = Outcome {
        level: Level::Scanner,
        state: State::Known,
        dull: false,
        builds: &[0.5, 2.0],
    };
    let apart = findings(&scan, &layout(), &sampled, &outcome);
    assert_eq!(codes(&apart), Vec::<&str>::new());
}

#[test]
fn narrow_stripes_and_uneven_light_are_said() {
    let scan = scan(true, |[u, v]| {
        card([u, v]).map(|x| x * (1.0 + 0.006 * (u - 30.0)))
    });
    assert!(get(&seen(&scan), "shading").words.contains('%'));
    let mut narrow = layout();
    for (i, stripe) in narrow.stripes.iter_mut().enumerate() {
        (stripe.from, stripe.to) = (15.0 * i as f64 + 5.0, 15.0 * i as f64 + 9.0);
    }
    let sampled = sample(&scan, &narrow).unwrap();
    let outcome = Outcome {
        level: Level::Scanner,
        state: State::Known,
        dull: true,
        builds: &[],
    };
    let found = findings(&scan, &narrow, &sampled, &outcome);
    assert!(get(&found, "narrow-stripes").words.contains("4.0 mm"));
    assert_eq!(get(&found, "dull").place, Place::Stripes(Ground::Black));
    assert!(get(&found, "shading").action.contains("scanner"));
    // A camera is told what a camera can do, and clipped lights say the rest of it.
    let level = Level::Usual(Doubt::Camera);
    let camera = Outcome { level, ..outcome };
    let found = findings(&scan, &narrow, &sampled, &camera);
    assert!(
        get(&found, "light-unknown")
            .words
            .starts_with("This looks like a picture by a camera")
    );
    assert!(get(&found, "shading").action.starts_with("Light it evenly"));
    let mut clipped = sampled.clone();
    clipped.white.clipped_high = [0.5; 3];
    let codes: Vec<_> = findings(&scan, &narrow, &clipped, &camera)
        .iter()
        .map(|f| f.code)
        .collect();
    assert!(codes.contains(&"clipped-lights") && !codes.contains(&"light-unknown"));
}

#[test]
fn every_finding_is_a_sentence_with_a_deed_and_a_place() {
    let picture = scan(false, |at| card(at).map(|v| 1.4 * v - 0.03));
    let found = of(&picture, State::OneFilm, |sampled| {
        sampled.evenness = vec![0.5; 2];
        sampled
            .pooled
            .iter_mut()
            .for_each(|cell| cell.rejected_share = 0.3);
        sampled.levelled.shading = 0.2;
    });
    assert!(found.len() > 6);
    assert!(found.is_sorted_by_key(|finding| finding.weight));
    for finding in &found {
        for text in [finding.words.as_str(), finding.action] {
            assert!(
                text.ends_with(['.', '?']) && text.starts_with(char::is_uppercase),
                "{text}"
            );
        }
        let outlines = finding.outlines(&picture, &layout());
        assert!(!outlines.is_empty(), "{}", finding.code);
        let inside =
            |&[u, v]: &[f64; 2]| (0.0..=SIZE[0]).contains(&u) && (0.0..=SIZE[1]).contains(&v);
        assert!(outlines.iter().flatten().all(inside), "{}", finding.code);
        let kept = file::Finding::from(finding);
        assert_eq!(
            (kept.code.as_str(), kept.words),
            (
                finding.code,
                format!("{} {}", finding.words, finding.action)
            )
        );
    }
}

/// The fixture's card through a change of its light.
fn through(change: impl Fn([f64; 2], f64) -> f64) -> Vec<Finding> {
    seen(&scan(true, |at| card(at).map(|v| change(at, v))))
}

#[test]
fn automatic_contrast_is_suspected() {
    // Black to nothing, white to full.
    let found = through(|_, v| (v - 0.0195) / 0.8);
    let stretched = get(&found, "stretched");
    assert_eq!(stretched.weight, Weight::Spoils);
    assert_eq!(stretched.place, Place::Card);
    let found = through(|_, v| v - 0.0195);
    assert!(!codes(&found).contains(&"stretched"));
    assert!(matches!(
        get(&found, "darks-cut").place,
        Place::Cells(0, Ground::Black) | Place::Stripes(Ground::Black)
    ));
}

#[test]
fn a_deep_black_is_asked_about_and_not_accused() {
    // Lacquer on a good scanner, or ink with raised contrast: nothing else on the card is too dark.
    let found = of(&scan(true, card), State::Known, |sampled| {
        sampled.black.xyz = [0.008; 3];
    });
    assert_eq!(codes(&found), ["black-deep"]);
    assert_eq!(found[0].weight, Weight::Widens);
    assert!(found[0].words.contains("only 1 %"), "{}", found[0].words);
}

#[test]
fn a_veil_over_everything_is_plastic() {
    let found = through(|_, v| 0.88 * v + 0.06);
    assert_eq!(get(&found, "under-plastic").weight, Weight::Spoils);
    // A grey black alone, with films that are dark, is none.
    let found = of(&scan(true, card), State::Known, |sampled| {
        sampled.black.xyz = [0.1; 3];
    });
    assert_eq!(codes(&found), ["black-not-black"]);
}

#[test]
fn blacks_that_differ_speak_for_local_contrast() {
    let found = through(|[_, v], value| {
        if value < 0.05 {
            value * (1.0 + v / 60.0)
        } else {
            value
        }
    });
    assert_eq!(
        get(&found, "tone-mapped").place,
        Place::Stripes(Ground::Black)
    );
}

#[test]
fn halos_and_smears_are_told_apart() {
    let near = |u: f64| (u - (u / 15.0).round() * 15.0).abs() < 0.5;
    let found = through(|[u, _], v| if near(u) && v > 0.5 { 1.1 * v } else { v });
    assert_eq!(codes(&found), ["sharpened"]);
    let found = through(|[u, _], v| {
        let share = if (30.0..45.0).contains(&u) {
            0.2 * libm::exp(-(u - 30.0) / 1.5)
        } else {
            0.0
        };
        v * (1.0 - share)
    });
    assert!(codes(&found).contains(&"ink-smeared"));
    assert!(!codes(&found).contains(&"sharpened"));
}

#[test]
fn a_cell_that_the_paint_does_not_explain_is_told() {
    let cells = [
        (0, Ground::White, 0.4),
        (1, Ground::Black, 9.2),
        (1, Ground::White, 4.9),
    ];
    let found = of_fit(cells.into_iter());
    assert_eq!(found.len(), 1);
    assert_eq!(found[0].place, Place::Cells(1, Ground::Black));
    assert!(
        found[0]
            .words
            .starts_with("Film 2 over black is 9 CIEDE2000 off")
    );
}
