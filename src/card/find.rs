//! Finding hand-made drawdown cards in a scan, without marks.
//!
//! Straight strong edges ([`segments`]) pair up to black bars ([`bars`]); bars in line or side by side are taken for one
//! card, once for each of the two directions the stripes may run; the stripes are made exact ([`stripes`]), films
//! are looked for across them ([`films`]), and of readings that lie over each other the more plausible one stays
//! ([`judge`]). All of it happens on a reduced picture; lengths follow the scan's resolution where that is
//! believable, and otherwise the width of the stripes.

mod bars;
mod doubts;
mod films;
mod inside;
mod judge;
mod line;
mod picture;
mod reading;
mod segments;
mod stripes;

use std::{cell::RefCell, collections::HashSet};

use picture::Picture;
use reading::Reading;

use super::{Layout, rectify::Frame};
use crate::{Error, Result, scan::Scan};

/// Lengths in the reduced picture.
#[derive(Debug, Clone, Copy)]
struct Ruler {
    /// Picture pixels per millimetre.
    per_mm: f64,
    /// Whether that follows from the scan's resolution; otherwise it is a guess that only sets the size of filters.
    known: bool,
}

/// Stripes a person can paint or print and a scanner can show, in mm, with some room.
const STRIPE_MM: [f64; 2] = [4.0, 46.0];
/// Resolutions that scanners write. 72 and 96 are what programs write when they know nothing.
const DPI: [f64; 2] = [97.0, 2500.0];
/// Longest side that a scanner at home has, with room (A3 is 420 mm).
const LONGEST_MM: f64 = 460.0;
/// Taken for the picture's longest side where nothing is known: between a small card cropped and a full page.
const LIKELY_MM: f64 = 220.0;

impl Ruler {
    fn of(scan: &Scan, picture: &Picture) -> Self {
        let longest = scan.width.max(scan.height) as f64;
        let believable =
            |dpi: &f64| (DPI[0]..DPI[1]).contains(dpi) && longest / dpi * 25.4 < LONGEST_MM;
        match scan.origin.dpi.filter(believable) {
            Some(dpi) => Self {
                per_mm: dpi / 25.4 / picture.scale,
                known: true,
            },
            None => Self {
                per_mm: longest / picture.scale / LIKELY_MM,
                known: false,
            },
        }
    }

    /// The ruler for a card whose stripes are so wide: no longer believed if they would not be stripes.
    fn for_stripes(self, width: f64) -> Self {
        let mm = width / self.per_mm;
        if self.known && (STRIPE_MM[0]..STRIPE_MM[1]).contains(&mm) {
            return self;
        }
        Self {
            per_mm: self.per_mm.clamp(width / 40.0, width / 5.0),
            known: false,
        }
    }

    /// The ruler for a card made of these bars.
    fn for_group(self, group: &[bars::Bar]) -> Self {
        let length: f64 = group.iter().map(|b| b.length).sum();
        self.for_stripes(group.iter().map(bars::Bar::area).sum::<f64>() / length)
    }

    fn pixels(&self, mm: f64) -> f64 {
        mm * self.per_mm
    }
}

/// Finds all cards in a scan, in reading order.
///
/// A layout without films means stripes with nothing painted across them. Fails with [`Error::NoCard`] if there are no
/// stripes either.
pub fn find(scan: &Scan) -> Result<Vec<Layout>> {
    find_with(scan, None)
}

/// [`find`], but if `films` is given, with exactly so many films on every card where that is possible.
pub fn find_with(scan: &Scan, films: Option<usize>) -> Result<Vec<Layout>> {
    if scan.width < 16 || scan.height < 16 {
        return Err(Error::NoCard);
    }
    let picture = Picture::reduced(scan);
    let ruler = Ruler::of(scan, &picture);
    let segments = segments::segments(&picture);
    let bars = bars::bars(&picture, &segments);
    let fits = stripes::Fits::new(&picture, &ruler);
    let group = |bars: &[bars::Bar]| -> Vec<Vec<bars::Bar>> {
        bars::groups(&picture, &ruler, bars)
            .iter()
            .take(MOST_GROUPS)
            .flat_map(|g| match fits.without_lid(g) {
                // What only the lid between cards held together comes apart.
                parts if parts.len() > 1 => {
                    let again = parts.iter().flat_map(|p| bars::groups(&picture, &ruler, p));
                    again.collect()
                }
                parts => parts,
            })
            .collect()
    };
    let known = RefCell::new(HashSet::new());
    let read = |group: &Vec<bars::Bar>, joined| {
        let mut ids: Vec<usize> = group.iter().map(|bar| bar.id).collect();
        ids.sort_unstable();
        if !known.borrow_mut().insert(ids) {
            return Vec::new();
        }
        judge::Candidate::of(&picture, &fits, &segments, group, joined, films)
    };
    let groups = group(&bars);
    let area = |g: &[bars::Bar]| g.iter().map(bars::Bar::area).sum::<f64>();
    let least = groups.first().map_or(0.0, |g| 0.1 * area(g));
    let mut candidates = Vec::new();
    for group in &groups {
        let found = read(group, false);
        let plain = found.iter().any(judge::Candidate::is_plain);
        candidates.extend(found);
        if !plain && area(group) > least {
            let parts = fits.side_by_side(group);
            candidates.extend(parts.iter().flat_map(|g| read(g, false)));
        }
    }
    let chains = bars::joined(&ruler, &groups);
    candidates.extend(chains.iter().flat_map(|g| read(g, true)));
    // Bars of two cards may stand in line by chance and look like no card together. Once the bars of the one that was found
    // are taken away, the other comes out.
    let mut left = bars.clone();
    for _ in 0..MOST_TURNS {
        let before = left.len();
        left.retain(|bar| !candidates.iter().any(|c| c.is_sure() && c.holds(bar)));
        if left.len() == before || left.len() < 2 {
            break;
        }
        let again = group(&left);
        candidates.extend(again.iter().flat_map(|g| read(g, false)));
    }
    // Pieces that stand in line with several cards are joined only once it is known what is a card by itself.
    let stubs = bars::groups(&picture, &ruler, &left);
    let sure = candidates.iter().filter(|c| c.is_sure());
    let chains: Vec<_> = sure
        .filter_map(|c| bars::joined_to(&ruler, c.own(&bars), &stubs))
        .collect();
    candidates.extend(chains.iter().flat_map(|g| read(g, true)));
    let rest: Vec<_> = groups
        .iter()
        .map(|g| {
            let free = |bar: &&bars::Bar| left.iter().any(|l| l.id == bar.id);
            g.iter().filter(free).cloned().collect::<Vec<_>>()
        })
        .filter(|g| g.len() > 3 && area(g) > least)
        .take(MOST_CUT)
        .collect();
    let mut rest = rest;
    for most in [3, 2, 1] {
        let mut again = Vec::new();
        for part in rest.iter().flat_map(|g| bars::cut(g, most)) {
            let found = read(&part, false);
            // Four cards in a square have to be cut twice.
            if part.len() > 3 && area(&part) > least && !found.iter().any(judge::Candidate::is_sure)
            {
                again.push(part);
            }
            candidates.extend(found);
        }
        crate::order::sort_by_number(&mut again, |part| -area(part));
        again.truncate(2 * MOST_CUT);
        rest = again;
    }
    let mut chosen = judge::choose(candidates);
    if chosen.is_empty() {
        return Err(Error::NoCard);
    }
    // Which places are cards does not depend on the wish: a card with one film left out looks less like a card.
    if let Some(count) = films {
        chosen
            .iter_mut()
            .filter(|c| c.reading.films.films.len() != count)
            .for_each(|c| c.keep_to(&picture, count));
    }
    let mut found: Vec<Layout> = chosen.iter_mut().map(|c| layout(&picture, c)).collect();
    for i in 0..found.len() {
        if (0..found.len()).any(|j| j != i && goes_on(&found[i], &found[j])) {
            found[i].doubts.insert(0, doubts::by_itself());
        }
    }
    Ok(in_reading_order(found))
}

/// Whether the stripes of one card go on in another as if both were one.
fn goes_on(a: &Layout, b: &Layout) -> bool {
    // The outer edges of the first and of the last stripe, from top to bottom.
    let sides = |layout: &Layout| [(0, 3), (1, 2)].map(|(i, j)| [i, j].map(|k| layout.corners[k]));
    let apart = |p: [f64; 2], q: [f64; 2]| [q[0] - p[0], q[1] - p[1]];
    let long = |d: [f64; 2]| libm::hypot(d[0], d[1]);
    let width = |layout: &Layout| {
        long(apart(layout.corners[0], layout.corners[1])) / layout.stripes.len() as f64
    };
    let stripe = width(a).min(width(b));
    sides(a).iter().any(|&[top, bottom]| {
        let down = apart(top, bottom);
        let near = |p: [f64; 2], q: [f64; 2]| {
            let d = apart(p, q);
            let along = (d[0] * down[0] + d[1] * down[1]) / long(down);
            long(d) < 1.15 * stripe && along.abs() < 0.12 * stripe
        };
        let ends = |&[first, last]: &[[f64; 2]; 2]| {
            near(top, first) && near(bottom, last) || near(top, last) && near(bottom, first)
        };
        sides(b).iter().any(ends)
    })
}

/// Rows from the top, each from the left. Cards share a row when half of the lower one's height lies beside the other.
pub(super) fn in_reading_order(mut layouts: Vec<Layout>) -> Vec<Layout> {
    let span = |layout: &Layout, axis: usize| {
        let of = |pick: fn(f64, f64) -> f64| {
            let places = layout.corners.iter().map(|corner| corner[axis]);
            places.reduce(pick).unwrap_or(0.0)
        };
        [of(f64::min), of(f64::max)]
    };
    crate::order::sort_by_number(&mut layouts, |layout| span(layout, 1)[0]);
    let mut ordered = Vec::with_capacity(layouts.len());
    while !layouts.is_empty() {
        let [top, bottom] = span(&layouts[0], 1);
        let beside = |layout: &Layout| {
            let [from, to] = span(layout, 1);
            to.min(bottom) - from.max(top) >= 0.5 * (to - from).min(bottom - top)
        };
        let (mut row, rest): (Vec<_>, Vec<_>) = layouts.into_iter().partition(beside);
        crate::order::sort_by_number(&mut row, |layout| span(layout, 0)[0]);
        ordered.append(&mut row);
        layouts = rest;
    }
    ordered
}

/// Finds stripes and films between four corners given by the painter: in pixels of the upright scan, clockwise from the
/// top left of the squared card, so that stripes run from the first two corners to the last two. The corners stay as
/// they are. If `films` is given, exactly so many films are looked for.
///
/// Fails with [`Error::Layout`] if the corners are no convex quadrangle in the picture, and with [`Error::NoCard`] if no
/// black and white stripes run between them.
pub fn within(scan: &Scan, corners: [[f64; 2]; 4], films: Option<usize>) -> Result<Layout> {
    let (width, height) = (scan.width as f64, scan.height as f64);
    let outside = |p: &[f64; 2]| !(p[0] >= 0.0 && p[1] >= 0.0 && p[0] <= width && p[1] <= height);
    if corners.iter().any(outside) {
        return Err(Error::Layout(
            "a corner lies outside the picture; move it inside.".into(),
        ));
    }
    let crossed =
        || Error::Layout("its corners must go clockwise around the card; move them so.".into());
    let picture = Picture::reduced(scan);
    let small = corners.map(|p| p.map(|x| x / picture.scale));
    let size = judge::sides(&small);
    let frame = Frame::new(&small, size).ok_or_else(crossed)?;
    let (blacks, levels) = inside::stripes(&picture, &frame, size).ok_or(Error::NoCard)?;
    let mean = blacks.iter().map(|b| b[1] - b[0]).sum::<f64>() / blacks.len() as f64;
    let ruler = Ruler::of(scan, &picture).for_stripes(mean);
    let borders = [0.0, size[0]];
    let reading = Reading::new(
        &picture,
        ruler,
        (frame, size),
        blacks,
        borders,
        levels,
        films,
    );
    let (edges, doubts) = doubts::film_doubts(&reading);
    Ok(reading.layout(&picture, &edges, doubts))
}

fn layout(picture: &Picture, candidate: &mut judge::Candidate) -> Layout {
    candidate.reading.include_outer_whites(picture);
    let (edges, doubts) = doubts::doubts(candidate, picture);
    candidate.reading.layout(picture, &edges, doubts)
}

/// Groups that are cut at their gaps where no card was found, the largest first.
const MOST_CUT: usize = 3;
/// How often bars are taken away and the rest grouped again: one turn for every card but the first.
const MOST_TURNS: usize = 3;
/// Groups of bars looked at, the largest first.
const MOST_GROUPS: usize = 16;

#[cfg(test)]
mod scene;

#[cfg(test)]
mod tests {
    use super::{
        scene::{BLUE, Band, Card, FAINT, HIDING, Random, Scene, scan},
        *,
    };
    use crate::card::Ground;

    /// Largest distance in mm between what was drawn and what was found: black stripes, films, ends. Which end of the
    /// stripes is up cannot be seen, so edges are compared in order along the squared card.
    fn worst(scene: &Scene, card: &Card, layout: &Layout) -> f64 {
        let frame = Frame::of(layout).unwrap();
        let found = |u: f64, v: f64| frame.to_card(card.page([u, v]).map(|x| x * scene.scale()));
        let apart = |mut a: Vec<f64>, mut b: Vec<f64>| {
            assert_eq!(a.len(), b.len());
            a.sort_unstable_by(f64::total_cmp);
            b.sort_unstable_by(f64::total_cmp);
            a.iter()
                .zip(&b)
                .map(|(a, b)| (a - b).abs())
                .fold(0.0, f64::max)
        };
        let borders: Vec<f64> = (0..=card.widths.len())
            .map(|i| card.widths[..i].iter().sum())
            .collect();
        let drawn = borders
            .iter()
            .map(|&u| found(u, card.length / 2.0)[0])
            .collect();
        let blacks = layout.stripes.iter().filter(|s| s.ground == Ground::Black);
        let mut worst = apart(drawn, blacks.flat_map(|s| [s.from, s.to]).collect());
        for u in [0.0, card.width()] {
            let at = |film: &Band, v: f64| found(u, v + film.slope * (u - card.width() / 2.0));
            let drawn: Vec<[f64; 2]> = card
                .films
                .iter()
                .flat_map(|f| [at(f, f.from), at(f, f.to)])
                .collect();
            let across = drawn.first().map_or(0.0, |p| p[0] / layout.size[0]);
            let edges = layout.films.iter().flat_map(|f| [f.top, f.bottom]);
            let read = edges
                .map(|e| e.left + (e.right - e.left) * across)
                .collect();
            worst = worst.max(apart(drawn.iter().map(|p| p[1]).collect(), read));
        }
        let ends = [0.0, card.length].map(|v| found(card.width() / 2.0, v)[1]);
        worst.max(apart(ends.to_vec(), vec![0.0, layout.size[1]]))
    }

    fn only(scene: &Scene) -> Layout {
        let mut found = find(&scene.scan()).unwrap();
        assert_eq!(found.len(), 1);
        found.remove(0)
    }

    #[test]
    fn a_plain_card_is_found_exactly_and_without_a_question() {
        let card = Card::of(&[BLUE, BLUE]);
        let scene = Scene::of(card.clone());
        let layout = only(&scene);
        assert!(layout.millimetres && layout.doubts.is_empty());
        assert!(worst(&scene, &card, &layout) < 0.2);
    }

    /// Painted by eye. Widths of a black stripe, a white one, and so on; the second card was taken for three, the third for two.
    #[test]
    fn stripes_of_unequal_width_are_one_card() {
        // Seen on black only.
        let white = [[0.91, 0.905, 0.89], [0.4, 0.42, 0.45]];
        for (widths, film) in [
            (vec![10.0, 12.0, 17.0, 9.0, 8.0, 12.0, 10.0], BLUE),
            (vec![10.5, 8.5, 17.2, 14.5, 10.0], white),
            (vec![8.8, 11.0, 13.2], BLUE),
        ] {
            let card = Card {
                widths,
                ..Card::of(&[film, film, film])
            };
            let scene = Scene::of(card.clone());
            let layout = only(&scene);
            let counts = (layout.films.len(), layout.stripes.len());
            assert_eq!(counts.0, 3, "{:?}: {counts:?}", card.widths);
            assert!(worst(&scene, &card, &layout) < 0.3, "{:?}", card.widths);
        }
    }

    #[test]
    fn any_turn_is_found() {
        for degrees in [7.0, 84.0, 183.0, 262.0] {
            let card = Card {
                degrees,
                ..Card::of(&[BLUE, FAINT, HIDING])
            };
            let scene = Scene {
                noise: 0.005,
                size: [180.0, 180.0],
                ..Scene::of(Card {
                    centre: [90.0, 90.0],
                    ..card
                })
            };
            let layout = only(&scene);
            assert!(
                worst(&scene, &scene.cards[0], &layout) < 0.5,
                "at {degrees} degrees"
            );
        }
    }

    #[test]
    fn corners_go_clockwise_from_the_squared_cards_top_left() {
        for degrees in [0.0, 90.0] {
            let scene = Scene::of(Card {
                degrees,
                ..Card::of(&[BLUE])
            });
            let [a, b, c, _] = only(&scene).corners;
            let turn = (b[0] - a[0]) * (c[1] - b[1]) - (b[1] - a[1]) * (c[0] - b[0]);
            assert!(turn > 0.0);
            // Upright stripes keep the scan's own sense; lying ones are turned so that the scan's left becomes the top.
            let down = if degrees == 0.0 {
                c[1] - b[1]
            } else {
                c[0] - b[0]
            };
            assert!(down > 100.0);
        }
    }

    #[test]
    fn lids_of_any_lightness_will_do() {
        for lid in [[0.95, 0.95, 0.95], [0.5, 0.5, 0.52], [0.05, 0.05, 0.05]] {
            let card = Card {
                degrees: 3.0,
                ..Card::of(&[BLUE, HIDING])
            };
            let scene = Scene {
                lid,
                ..Scene::of(card.clone())
            };
            assert!(worst(&scene, &card, &only(&scene)) < 0.3);
        }
    }

    #[test]
    fn without_a_believable_resolution_the_unit_is_the_stripe() {
        for dpi in [None, Some(72.0), Some(2400.0), Some(f64::NAN)] {
            let card = Card::of(&[BLUE, BLUE]);
            let mut scan = Scene::of(card).scan();
            scan.origin.dpi = dpi;
            let layout = find(&scan).unwrap().remove(0);
            assert!(!layout.millimetres);
            let mean = layout.size[0] / layout.stripes.len() as f64;
            assert!((mean - 1.0).abs() < 1e-9);
            assert_eq!(layout.films.len(), 2);
        }
    }

    #[test]
    fn two_cards_are_kept_apart() {
        let left = Card {
            centre: [70.0, 80.0],
            degrees: 2.0,
            ..Card::of(&[BLUE])
        };
        let right = Card {
            centre: [160.0, 80.0],
            degrees: -3.0,
            ..Card::of(&[HIDING, BLUE])
        };
        let scene = Scene {
            size: [220.0, 160.0],
            ..Scene::of(left.clone())
        };
        let scene = Scene {
            cards: vec![left, right],
            ..scene
        };
        let found = find(&scene.scan()).unwrap();
        assert_eq!(found.len(), 2);
        for (card, layout) in scene.cards.iter().zip(&found) {
            assert!(worst(&scene, card, layout) < 0.3);
        }
    }

    #[test]
    fn a_slanted_film_has_slanted_edges() {
        let mut card = Card::of(&[BLUE, BLUE]);
        card.films[1].slope = 0.035;
        let scene = Scene::of(card.clone());
        assert!(worst(&scene, &card, &only(&scene)) < 0.3);
    }

    #[test]
    fn stripes_without_paint_have_no_films() {
        let layout = only(&Scene::of(Card::of(&[])));
        assert!(layout.films.is_empty() && layout.stripes.len() >= 5);
    }

    #[test]
    fn no_card_is_an_error() {
        let grey = scan([300, 200], vec![40_000; 300 * 200 * 3], Some(150.0));
        assert!(matches!(find(&grey), Err(Error::NoCard)));
        let mut random = Random(7);
        let noise = (0..300 * 200 * 3)
            .map(|_| ((0.5 + 0.2 * random.next()).clamp(0.0, 1.0) * 65535.0) as u16)
            .collect();
        assert!(matches!(
            find(&scan([300, 200], noise, None)),
            Err(Error::NoCard)
        ));
        for size in [[1, 1], [3, 500], [40, 40]] {
            assert!(matches!(
                find(&scan(size, vec![0; 3 * size[0] * size[1]], None)),
                Err(Error::NoCard)
            ));
        }
    }

    #[test]
    fn corners_given_stay_and_the_rest_is_found_between_them() {
        let card = Card {
            degrees: 4.0,
            ..Card::of(&[BLUE, FAINT])
        };
        let scene = Scene {
            noise: 0.005,
            ..Scene::of(card.clone())
        };
        let (w, h) = (card.width(), card.length);
        let corners = [[0.0, 0.0], [w, 0.0], [w, h], [0.0, h]]
            .map(|p| card.page(p).map(|x| x * scene.scale()));
        let layout = within(&scene.scan(), corners, None).unwrap();
        for (given, kept) in corners
            .iter()
            .flatten()
            .zip(layout.corners.iter().flatten())
        {
            assert!((given - kept).abs() < 1e-6);
        }
        assert_eq!(layout.stripes.len(), 5);
        assert!(worst(&scene, &card, &layout) < 0.4);
    }

    #[test]
    fn a_wished_number_of_films_is_kept_to() {
        let scan = Scene::of(Card::of(&[BLUE, BLUE])).scan();
        for count in [1, 2] {
            assert_eq!(find_with(&scan, Some(count)).unwrap()[0].films.len(), count);
        }
    }

    #[test]
    fn corners_that_are_none_are_refused() {
        let scene = Scene::of(Card::of(&[BLUE]));
        let scan = scene.scan();
        let square = [[10.0, 10.0], [200.0, 10.0], [200.0, 200.0], [10.0, 200.0]];
        let mut crossed = square;
        crossed.swap(1, 2);
        let mut outside = square;
        outside[0][0] = -5.0;
        let mut broken = square;
        broken[2][1] = f64::NAN;
        for corners in [crossed, outside, broken] {
            assert!(matches!(
                within(&scan, corners, None),
                Err(Error::Layout(_))
            ));
        }
        let lid = [[2.0, 2.0], [40.0, 2.0], [40.0, 40.0], [2.0, 40.0]];
        assert!(matches!(within(&scan, lid, None), Err(Error::NoCard)));
    }
}
