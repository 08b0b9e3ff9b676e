use proptest::prelude::*;

use super::*;
use crate::{
    card::{Edge, FilmBand, Stripe, fixture::*},
    colour::Xyz,
};

fn cell(sampled: &Sampled, film: usize, ground: Ground) -> &PooledCell {
    sampled
        .pooled
        .iter()
        .find(|cell| cell.film == film && cell.ground == ground)
        .unwrap()
}

fn cells(sampled: &Sampled) -> [&PooledCell; 4] {
    let find = |film, ground| cell(sampled, film, ground);
    [
        find(0, Ground::White),
        find(0, Ground::Black),
        find(1, Ground::White),
        find(1, Ground::Black),
    ]
}

const TRUTH: [[f64; 3]; 4] = [GLAZE[0], GLAZE[1], VEIL[0], VEIL[1]];

/// Largest distance of the pooled cells from the truth.
fn worst(sampled: &Sampled) -> f64 {
    let all = cells(sampled).into_iter().zip(TRUTH);
    all.flat_map(|(cell, truth)| (0..3).map(move |c| (cell.additive[c] - truth[c]).abs()))
        .fold(0.0, f64::max)
}

#[test]
fn even_cells_are_read_as_they_are() {
    let picture = scan(true, card);
    let sampled = sample(&picture, &layout()).unwrap();
    // What is left comes from the glare that is expected before anything is seen.
    assert!(worst(&sampled) < 1e-3, "{}", worst(&sampled));
    assert_eq!(sampled.crossings.len(), 8);
    for c in 0..3 {
        assert!((sampled.white.additive[c] - WHITE[c]).abs() < 1e-4);
        assert!((sampled.black.additive[c] - BLACK[c]).abs() < 1e-4);
    }
    for (cell, truth) in cells(&sampled).into_iter().zip(TRUTH) {
        let xyz: Xyz = picture.profile.xyz(truth);
        assert!((cell.xyz[1] - xyz.y).abs() < 1e-3);
        assert!(cell.rejected_share < 0.01);
        assert_eq!((cell.clipped_low, cell.clipped_high), ([0.0; 3], [0.0; 3]));
        // Two crossings of 12 by 16 mm.
        let area = 2.0 * 12.0 * 16.0 * SCALE * SCALE;
        assert!(
            (cell.pixels as f64 / area - 1.0).abs() < 0.05,
            "{} of {area}",
            cell.pixels
        );
    }
    assert!(
        sampled.evenness.iter().all(|&spread| spread < 0.01),
        "{:?}",
        sampled.evenness
    );
    assert!(sampled.levelled.shading < 0.01);
}

#[test]
fn eight_bits_and_unknown_resolution_do_as_well() {
    let mut layout = layout();
    layout.millimetres = false;
    layout.size = layout.size.map(|v| v / 15.0);
    for stripe in &mut layout.stripes {
        (stripe.from, stripe.to) = (stripe.from / 15.0, stripe.to / 15.0);
    }
    for film in &mut layout.films {
        for edge in [&mut film.top, &mut film.bottom] {
            (edge.left, edge.right) = (edge.left / 15.0, edge.right / 15.0);
        }
    }
    let mut noise = noise(1);
    let sampled = sample(
        &scan(false, |at| card(at).map(|v| v + 0.004 * noise())),
        &layout,
    )
    .unwrap();
    assert!(worst(&sampled) < 1e-3, "{}", worst(&sampled));
}

#[test]
fn a_turned_card_is_read_through_its_corners() {
    // The same picture, the card's outline turned half round: stripes and films change places.
    let upright = layout();
    let mut turned = upright.clone();
    turned.corners = [2, 3, 0, 1].map(|i| upright.corners[i]);
    for (i, stripe) in turned.stripes.iter_mut().enumerate() {
        stripe.ground = upright.stripes[3 - i].ground;
    }
    let flip = |edge: Edge| Edge {
        left: SIZE[1] - edge.right,
        right: SIZE[1] - edge.left,
        doubtful: false,
    };
    turned.films = upright
        .films
        .iter()
        .rev()
        .map(|film| FilmBand {
            top: flip(film.bottom),
            bottom: flip(film.top),
            brushed: film.brushed,
        })
        .collect();
    let sampled = sample(&scan(true, card), &turned).unwrap();
    assert!((cell(&sampled, 1, Ground::White).additive[1] - GLAZE[0][1]).abs() < 1e-3);
    assert!((cell(&sampled, 0, Ground::Black).additive[2] - VEIL[1][2]).abs() < 1e-3);
}

#[test]
fn dust_and_hairs_are_left_out_and_counted() {
    let mut places = noise(2);
    let dust: Vec<[f64; 3]> = (0..1200)
        .map(|_| {
            [
                30.0 + 30.0 * places(),
                45.0 + 45.0 * places(),
                0.15 + 0.1 * places(),
            ]
        })
        .collect();
    let mut grain = noise(3);
    let dirty = scan(false, |[u, v]| {
        let hit = dust
            .iter()
            .any(|[x, y, r]| (u - x) * (u - x) + (v - y) * (v - y) < r * r);
        // A hair from corner to corner, 0.2 mm thick.
        let hair = (u - v * SIZE[0] / SIZE[1]).abs() < 0.1;
        if hit {
            [0.6; 3]
        } else if hair {
            [0.02; 3]
        } else {
            card([u, v]).map(|x| x + 0.003 * grain())
        }
    });
    let sampled = sample(&dirty, &layout()).unwrap();
    assert!(worst(&sampled) < 0.003, "{}", worst(&sampled));
    let share = cell(&sampled, 0, Ground::Black).rejected_share;
    assert!((0.01..0.2).contains(&share), "{share}");
}

#[test]
fn shading_is_levelled_from_the_bare_white() {
    let light = |[u, v]: [f64; 2]| 1.0 + 0.05 * (u / SIZE[0] - 0.5) - 0.08 * (v / SIZE[1] - 0.5);
    let shaded = scan(true, |at| card(at).map(|x| x * light(at)));
    let sampled = sample(&shaded, &layout()).unwrap();
    // The level itself is the mean over the bare white; only its differences can be taken out.
    for (cell, truth) in cells(&sampled).into_iter().zip(TRUTH) {
        for c in 0..3 {
            let level = sampled.white.additive[c] / WHITE[c];
            let off = cell.additive[c] / level - truth[c];
            assert!(off.abs() < 0.004 * truth[c] + 2e-4, "{off} at {}", truth[c]);
        }
    }
    assert!(
        (sampled.levelled.shading - 0.12).abs() < 0.04,
        "{}",
        sampled.levelled.shading
    );
}

/// Glare of another shape than the one that is assumed: the mean of a square, not of a Gaussian.
#[test]
fn glare_is_lessened() {
    let glare = 0.18;
    let around = |at: [f64; 2]| {
        let mut sum = 0.0;
        for i in 0..11 {
            for j in 0..11 {
                sum += card([at[0] - 22.0 + 4.0 * i as f64, at[1] - 22.0 + 4.0 * j as f64])[1];
            }
        }
        sum / 121.0
    };
    let seen = scan(true, |at| card(at).map(|x| x * (1.0 + glare * around(at))));
    let sampled = sample(&seen, &layout()).unwrap();
    let off = |value: f64, level: f64, truth: f64| (value / level - truth).abs() / truth;
    let level = sampled.white.additive[1] / WHITE[1];
    // What the same cell would be without any levelling, from the middle of the film.
    let raw = GLAZE[0][1] * (1.0 + glare * around([7.5, 25.0]));
    let bare = WHITE[1] * (1.0 + glare * around([7.5, 5.0]));
    let before = off(raw, bare / WHITE[1], GLAZE[0][1]);
    let after = off(
        cell(&sampled, 0, Ground::White).additive[1],
        level,
        GLAZE[0][1],
    );
    assert!(after < 0.6 * before, "{before} {after}");
    assert!(
        (0.05..0.3).contains(&sampled.levelled.glare),
        "{}",
        sampled.levelled.glare
    );
}

#[test]
fn clipped_channels_are_counted_where_they_are() {
    let clipped = scan(false, |at| {
        let [r, g, b] = card(at);
        // The glaze over white has no blue that the file can hold; the veil over white is too bright in red.
        if [r, g, b] == GLAZE[0] {
            [r, g, -0.01]
        } else if [r, g, b] == VEIL[0] {
            [1.3, g, b]
        } else {
            [r, g, b]
        }
    });
    let sampled = sample(&clipped, &layout()).unwrap();
    assert_eq!(
        cell(&sampled, 0, Ground::White).clipped_low,
        [0.0, 0.0, 1.0]
    );
    assert_eq!(cell(&sampled, 0, Ground::White).clipped_high, [0.0; 3]);
    assert_eq!(
        cell(&sampled, 1, Ground::White).clipped_high,
        [1.0, 0.0, 0.0]
    );
    assert_eq!(cell(&sampled, 1, Ground::Black).clipped_high, [0.0; 3]);
}

#[test]
fn an_uneven_film_says_so_and_widens_its_range() {
    // The veil gets thicker downwards: what it does to the black goes from half to one and a half times its mean.
    let uneven = scan(true, |[u, v]| {
        let seen = card([u, v]);
        let down = (v - 50.0 - 4.0 * u / SIZE[0]) / 20.0;
        if seen == VEIL[1] {
            std::array::from_fn(|c| BLACK[c] + (VEIL[1][c] - BLACK[c]) * (0.5 + down))
        } else {
            seen
        }
    });
    let even = sample(&scan(true, card), &layout()).unwrap();
    let sampled = sample(&uneven, &layout()).unwrap();
    // Over the middle 16 of 20 mm: 0.8 / sqrt(12) of the mean.
    assert!(
        (sampled.evenness[1] - 0.23).abs() < 0.05,
        "{:?}",
        sampled.evenness
    );
    assert!(sampled.evenness[0] < 0.01);
    let (before, after) = (
        cell(&even, 1, Ground::Black),
        cell(&sampled, 1, Ground::Black),
    );
    assert!((after.additive[1] - VEIL[1][1]).abs() < 0.002);
    assert!(after.additive_sd[1] > 3.0 * before.additive_sd[1]);
}

#[test]
fn crossings_that_differ_widen_the_range() {
    let differing = scan(true, |[u, v]| {
        let seen = card([u, v]);
        if seen == GLAZE[0] && u > 30.0 {
            seen.map(|x| x * 1.2)
        } else {
            seen
        }
    });
    let sampled = sample(&differing, &layout()).unwrap();
    let cell = cell(&sampled, 0, Ground::White);
    // 0.25 and 0.30: their mean, give or take half their distance.
    assert!(
        (cell.additive[1] - 0.275).abs() < 0.002,
        "{:?}",
        cell.additive
    );
    assert!(
        (cell.additive_sd[1] / 0.025 - 1.0).abs() < 0.3,
        "{:?}",
        cell.additive_sd
    );
}

#[test]
fn a_film_that_stops_inside_the_card_is_read_where_it_is() {
    let mut six = layout();
    // Six stripes of 10 mm; both films end within the fifth.
    six.stripes = (0..6)
        .map(|i| Stripe {
            ground: if i % 2 == 0 {
                Ground::White
            } else {
                Ground::Black
            },
            from: 10.0 * f64::from(i),
            to: 10.0 * f64::from(i + 1),
        })
        .collect();
    let short = scan(true, |[u, v]| {
        let side = (u / 10.0) as usize % 2;
        let seen = card([if side == 0 { 7.5 } else { 22.5 }, v]);
        let inside = (0.0..SIZE[0]).contains(&u) && (0.0..SIZE[1]).contains(&v);
        match inside {
            false => [0.7; 3],
            true if u > 43.0 => [WHITE, BLACK][side],
            true => seen,
        }
    });
    six.films[1] = FilmBand {
        top: edge(52.0, 52.0),
        bottom: edge(69.0, 69.0),
        brushed: false,
    };
    let sampled = sample(&short, &six).unwrap();
    assert!(worst(&sampled) < 2e-3, "{}", worst(&sampled));
    let reached: Vec<bool> = sampled
        .crossings
        .iter()
        .filter(|c| c.film == 0)
        .map(|c| c.reached)
        .collect();
    assert_eq!(reached, [true, true, true, false, false, false]);
}

/// Blotches a few mm wide: the standard error is of the blotches, not of the pixels. (Streaks along the pull cross white and
/// black stripes alike; they belong to the film's mean and are no error.)
#[test]
fn standard_errors_are_honest_for_blotchy_films() {
    let (mut squares, mut stated) = (0.0, 0.0);
    for seed in 0..24 {
        let mut random = noise(100 + seed);
        let blotches: Vec<f64> = (0..40 * 40).map(|_| random()).collect();
        let blotchy = scan(true, |[u, v]| {
            let seen = card([u, v]);
            let place = |mm: f64| ((mm + RIM) / 3.0) as usize;
            let blotch = blotches[40 * place(v) + place(u)];
            if seen == VEIL[1] {
                seen.map(|x| x * (1.0 + 0.2 * blotch))
            } else {
                seen
            }
        });
        let sampled = sample(&blotchy, &layout()).unwrap();
        let cell = cell(&sampled, 1, Ground::Black);
        squares += (cell.additive[1] - VEIL[1][1]) * (cell.additive[1] - VEIL[1][1]);
        stated += cell.additive_sd[1] * cell.additive_sd[1];
    }
    let ratio = f64::sqrt(squares / stated);
    assert!((0.4..1.6).contains(&ratio), "{ratio}");
}

#[test]
fn outlines_that_cannot_be_read_are_refused_in_words() {
    let picture = scan(false, card);
    let refuse = |change: &dyn Fn(&mut Layout)| {
        let mut layout = layout();
        change(&mut layout);
        match sample(&picture, &layout) {
            Err(Error::Layout(words)) => words,
            other => panic!("{:?}", other.map(|sampled| sampled.pooled.len())),
        }
    };
    assert!(refuse(&|l| l.corners.swap(0, 1)).contains("corners"));
    assert!(refuse(&|l| l.corners[0] = [f64::NAN; 2]).contains("corners"));
    assert!(refuse(&|l| l.corners[0] = [-1e9, 0.0]).contains("corners"));
    assert!(refuse(&|l| l.size = [0.0, 1.0]).contains("stripes overlap"));
    assert!(refuse(&|l| l.stripes[0].to = 20.0).contains("stripes overlap"));
    assert!(refuse(&|l| l.films.swap(0, 1)).contains("films overlap"));
    assert!(refuse(&|l| l.films[1].bottom.left = 300.0).contains("films overlap"));
    assert!(refuse(&|l| l.films[0].bottom = edge(15.2, 15.2)).contains("film 1 has no room"));
    assert!(refuse(&|l| l.stripes.retain(|s| s.ground == Ground::White)).contains("no bare black"));
    assert!(refuse(&|l| l.stripes.clear()).contains("no bare white"));
    assert!(
        refuse(&|l| l.films = vec![FilmBand {
            top: edge(0.0, 0.0),
            bottom: edge(90.0, 90.0),
            brushed: false,
        }])
        .contains("no bare white")
    );
}

#[test]
fn outlines_are_the_parts_that_are_measured() {
    let outlines = outlines(&scan(false, card), &layout()).unwrap();
    assert_eq!(outlines.len(), 8);
    let Outline {
        film,
        stripe,
        ground,
        corners,
    } = outlines[0];
    assert_eq!((film, stripe, ground), (0, 0, Ground::White));
    assert_eq!(
        corners,
        [[1.5, 17.0], [13.5, 17.0], [13.5, 33.0], [1.5, 33.0]]
    );
}

#[test]
fn a_film_left_out_is_no_bare_stripe_and_leaves_the_others_as_they_are() {
    let picture = scan(true, card);
    let all = sample(&picture, &layout()).unwrap();
    let second = sample_counted(&picture, &layout(), |film, _| film == 1).unwrap();
    assert_eq!((&second.white, &second.black), (&all.white, &all.black));
    assert_eq!(second.evenness.len(), 1);
    for ground in [Ground::White, Ground::Black] {
        let expected = PooledCell {
            film: 0,
            ..cell(&all, 1, ground).clone()
        };
        assert_eq!(cell(&second, 0, ground), &expected);
    }
}

#[test]
fn a_crossing_left_out_is_not_pooled() {
    let picture = scan(true, card);
    let all = sample(&picture, &layout()).unwrap();
    let some =
        sample_counted(&picture, &layout(), |film, stripe| (film, stripe) != (0, 0)).unwrap();
    assert_eq!(some.crossings.len(), all.crossings.len() - 1);
    let pixels = |sampled| cell(sampled, 0, Ground::White).pixels;
    assert!(pixels(&some) < pixels(&all));
    assert_eq!(cell(&some, 0, Ground::Black), cell(&all, 0, Ground::Black));
    // Both crossings over white: nothing is left there.
    let white = |stripe: usize| layout().stripes[stripe].ground == Ground::White;
    let none = sample_counted(&picture, &layout(), |film, stripe| {
        film != 0 || !white(stripe)
    });
    assert!(none.unwrap_err().to_string().contains("film 1"));
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]

    /// Whatever outline the user drags: numbers or a sentence.
    #[test]
    fn any_outline_is_sampled_or_refused(
        corners in prop::array::uniform4(prop::array::uniform2(-50.0..600.0_f64)),
        edges in prop::array::uniform4(-10.0..100.0_f64),
        widths in prop::array::uniform3(0.0..30.0_f64),
    ) {
        let mut any = layout();
        any.corners = corners;
        any.films[0] = FilmBand { top: edge(edges[0], edges[1]), bottom: edge(edges[2], edges[3]), brushed: false };
        let mut u = 0.0;
        any.stripes = widths
            .iter()
            .enumerate()
            .map(|(i, width)| {
                let from = u;
                u += width;
                Stripe { ground: if i % 2 == 0 { Ground::White } else { Ground::Black }, from, to: u }
            })
            .collect();
        if let Ok(sampled) = sample(&scan(false, card), &any) {
            for cell in &sampled.pooled {
                prop_assert!(cell.xyz.iter().chain(&cell.xyz_sd).all(|v| v.is_finite()));
            }
        }
    }
}
