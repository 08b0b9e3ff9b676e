//! Black bars: pairs of straight edges with darkness between, and groups of bars that look like one card.

use nalgebra::{Vector2, vector};

use super::{Ruler, picture::Picture, segments::Segment};
use crate::order::sort_by_number;

/// A straight piece of something black, with one of its two directions taken as that of the stripes.
#[derive(Debug, Clone)]
pub(super) struct Bar {
    /// Its place in the list that [`bars`] gives: bars of one picture are told apart by it.
    pub(super) id: usize,
    pub(super) centre: Vector2<f64>,
    /// Unit vector across the bar.
    pub(super) across: Vector2<f64>,
    /// Width across and length along, in pixels.
    pub(super) width: f64,
    pub(super) length: f64,
    /// Brightness inside and just outside.
    pub(super) dark: f32,
    pub(super) bright: f32,
}

impl Bar {
    /// Unit vector along the bar: `across` turned a quarter clockwise on screen.
    pub(super) fn along(&self) -> Vector2<f64> {
        quarter(self.across)
    }

    pub(super) fn area(&self) -> f64 {
        self.width * self.length
    }

    /// Where another bar's centre lies, across and along this one.
    fn towards(&self, other: &Bar) -> (f64, f64) {
        let d = other.centre - self.centre;
        (d.dot(&self.across), d.dot(&self.along()))
    }
}

/// A vector turned a quarter clockwise on screen.
pub(super) fn quarter(v: Vector2<f64>) -> Vector2<f64> {
    vector![-v.y, v.x]
}

/// Narrowest bar, in pixels of the reduced picture.
const NARROWEST: f64 = 6.0;
/// Widest bar against its length: a stripe 40 mm wide seen in a bare gap of 6 mm.
const FLATTEST: f64 = 8.0;
/// Cosine of the largest angle between the two edges of a bar (5 degrees).
const PARALLEL: f64 = 0.996;
/// Share of the step from dark to bright that a bar's inside may vary by in a row, and from which on a spot is bright.
const DARK: f32 = 0.3;
const BRIGHT: f32 = 0.7;

/// All bars between two antiparallel edges.
pub(super) fn bars(picture: &Picture, segments: &[Segment]) -> Vec<Bar> {
    let mut bars = Vec::new();
    for (i, a) in segments.iter().enumerate() {
        for b in &segments[i + 1..] {
            if a.normal.dot(&b.normal) < -PARALLEL {
                bars.extend(bar(picture, a, b));
            }
        }
    }
    for (id, bar) in bars.iter_mut().enumerate() {
        bar.id = id;
    }
    bars
}

fn bar(picture: &Picture, a: &Segment, b: &Segment) -> Option<Bar> {
    let across = (b.normal - a.normal).normalize();
    let along = quarter(across);
    let d = b.centre - a.centre;
    let width = d.dot(&across);
    let offset = d.dot(&along);
    let (top, bottom) = ((-a.half).max(offset - b.half), a.half.min(offset + b.half));
    let length = bottom - top;
    let enough = length >= NARROWEST && length > a.half.min(b.half) && width <= FLATTEST * length;
    if width < NARROWEST || !enough {
        return None;
    }
    // Both edges' own positions at the middle of the shared part, since neither need be exactly parallel to the mean.
    let middle = (top + bottom) / 2.0;
    let at = |s: &Segment, t: f64| {
        let own = quarter(s.normal);
        let own = if own.dot(&along) < 0.0 { -own } else { own };
        s.centre + own * t
    };
    let (left, right) = (at(a, middle), at(b, middle - offset));
    let centre = (left + right) / 2.0;
    let width = (right - left).dot(&across);
    if width < NARROWEST {
        return None;
    }
    let spot = |u: f64, v: f64| {
        let p = centre + across * (u * width) + along * (v * length);
        picture.brightness_at(p.x, p.y)
    };
    let beside = (2.5 / width).min(0.5);
    let (mut dark, mut bright) = (Vec::new(), Vec::new());
    for row in -4..=4 {
        let v = f64::from(row) * 0.11;
        let mut inside = [-0.3, -0.15, 0.0, 0.15, 0.3].map(|u| spot(u, v));
        inside.sort_unstable_by(f32::total_cmp);
        let outside = spot(-0.5 - beside, v).min(spot(0.5 + beside, v));
        // Films may cross a bar, so darkness is judged row by row.
        if inside[4] < inside[0] + DARK * (outside - inside[0]) {
            dark.push(inside[2]);
            bright.push(outside);
        }
    }
    let enough = dark.len() >= 6;
    dark.sort_unstable_by(f32::total_cmp);
    bright.sort_unstable_by(f32::total_cmp);
    enough.then(|| Bar {
        id: 0,
        centre,
        across,
        width,
        length,
        dark: dark[dark.len() / 4],
        bright: bright[bright.len() * 3 / 4],
    })
}

/// Bars that look like one card: neighbours across with white between, or pieces of one stripe. The largest group first.
pub(super) fn groups(picture: &Picture, ruler: &Ruler, bars: &[Bar]) -> Vec<Vec<Bar>> {
    let mut parents: Vec<usize> = (0..bars.len()).collect();
    let mut unite = |i: usize, j: usize, are: &dyn Fn() -> bool| {
        let (a, b) = (root(&parents, i), root(&parents, j));
        if a != b && are() {
            parents[a.max(b)] = a.min(b);
        }
    };
    for i in 0..bars.len() {
        let mut ahead: Vec<(f64, usize)> = Vec::new();
        let mut behind: Vec<(f64, usize)> = Vec::new();
        for j in 0..bars.len() {
            let (a, b) = (&bars[i], &bars[j]);
            if i == j {
                continue;
            }
            match in_line(a, b) {
                Some(gap) if a.towards(b).1 > 0.0 => ahead.push((gap, j)),
                Some(gap) => behind.push((gap, j)),
                None if j < i => unite(i, j, &|| beside(picture, a, b)),
                None => {}
            }
        }
        // Of pieces in line only neighbours tell whether they are one stripe: what lies beyond the next piece may be another
        // card, whose margin the next piece hides.
        for mut pieces in [ahead, behind] {
            sort_by_number(&mut pieces, |piece| piece.0);
            let next = pieces.iter().position(|&(gap, _)| gap > 0.0);
            for &(gap, j) in &pieces[..next.map_or(pieces.len(), |next| next + 1)] {
                unite(i, j, &|| {
                    one_stripe(picture, ruler, &bars[i], &bars[j], gap)
                });
            }
        }
    }
    let mut groups: Vec<Vec<Bar>> = vec![Vec::new(); bars.len()];
    for (i, bar) in bars.iter().enumerate() {
        groups[root(&parents, i)].push(bar.clone());
    }
    groups.retain(|g| !g.is_empty());
    let area = |g: &Vec<Bar>| g.iter().map(Bar::area).sum::<f64>();
    sort_by_number(&mut groups, |group| -area(group));
    groups
}

fn root(parents: &[usize], mut i: usize) -> usize {
    while parents[i] != i {
        i = parents[i];
    }
    i
}

/// Groups that go on in line with each other, stripe for stripe, across plain white: one card with a white film that
/// hides, or two cards. Both together are one more group.
pub(super) fn joined(ruler: &Ruler, groups: &[Vec<Bar>]) -> Vec<Vec<Bar>> {
    let mut chains: Vec<Vec<Bar>> = Vec::new();
    let mut taken = vec![false; groups.len()];
    for (i, group) in groups.iter().enumerate() {
        let (before, after) = taken.split_at_mut(i + 1);
        let chain = chain(ruler, group.clone(), &groups[i + 1..], after);
        if !before[i] {
            chains.extend(chain);
        }
    }
    chains
}

/// One card's own bars with what goes on in line with them, if anything does.
pub(super) fn joined_to(ruler: &Ruler, own: Vec<Bar>, groups: &[Vec<Bar>]) -> Option<Vec<Bar>> {
    chain(ruler, own, groups, &mut vec![false; groups.len()])
}

/// A group with those of the others that go on in line with it or with each other, which are then taken; none if there are none.
fn chain(
    ruler: &Ruler,
    mut chain: Vec<Bar>,
    others: &[Vec<Bar>],
    taken: &mut [bool],
) -> Option<Vec<Bar>> {
    let covers = |a: &[Bar], b: &[Bar]| a.iter().all(|x| b.iter().any(|y| in_line(x, y).is_some()));
    let near =
        |x: &Bar, y: &Bar| in_line(x, y).is_some_and(|gap| gap < ruler.pixels(WIDEST_FILM_MM));
    let touch = |a: &[Bar], b: &[Bar]| a.iter().any(|x| b.iter().any(|y| near(x, y)));
    let before = chain.len();
    while let Some(next) = (0..others.len()).find(|&next| {
        let other = &others[next];
        !taken[next] && touch(other, &chain) && covers(other, &chain) && covers(&chain, other)
    }) {
        chain.extend(others[next].iter().cloned());
        taken[next] = true;
    }
    (chain.len() > before).then_some(chain)
}

/// A group cut in two at each of so many of its widest gaps, across and along: it may be two cards that happen to stand in line.
pub(super) fn cut(group: &[Bar], most: usize) -> Vec<Vec<Bar>> {
    let Some(longest) = group.iter().max_by(|a, b| a.length.total_cmp(&b.length)) else {
        return Vec::new();
    };
    let span = |bar: &Bar, axis: usize| {
        let (across, along) = longest.towards(bar);
        let (middle, size) = if axis == 0 {
            (across, bar.width)
        } else {
            (along, bar.length)
        };
        [middle - 0.5 * size, middle + 0.5 * size]
    };
    let mut parts = Vec::new();
    for axis in 0..2 {
        let mut spans: Vec<[f64; 2]> = group.iter().map(|bar| span(bar, axis)).collect();
        sort_by_number(&mut spans, |span| span[0]);
        let mut reach = spans[0][1];
        let mut gaps = Vec::new();
        for [from, to] in spans {
            if from > reach {
                gaps.push((from - reach, 0.5 * (from + reach)));
            }
            reach = reach.max(to);
        }
        sort_by_number(&mut gaps, |gap| -gap.0);
        for (_, at) in gaps.into_iter().take(most) {
            let before = |bar: &Bar| span(bar, axis)[1] < at;
            let (above, below): (Vec<Bar>, Vec<Bar>) = group.iter().cloned().partition(before);
            parts.extend([above, below]);
        }
    }
    parts
}

/// Largest gap in a stripe that a film makes, in mm.
const WIDEST_FILM_MM: f64 = 60.0;

/// How far two bars' directions may differ: a short edge's direction is known to about a pixel over its length.
fn tolerance(shorter: &Bar) -> f64 {
    0.035 + 1.5 / shorter.length
}

fn like(a: &Bar, b: &Bar) -> bool {
    alike_but_for_width(a, b) && differ(a, b) < ALIKE
}

/// By how much of their mean two widths differ, but for a pixel.
fn differ(a: &Bar, b: &Bar) -> f64 {
    let mean = (a.width + b.width) / 2.0;
    ((a.width - b.width).abs() - 1.0) / mean
}

/// Stripes of one card differ less than this in width, unless they were painted by eye: then one may be twice the other.
const ALIKE: f64 = 0.35;
const BY_EYE: f64 = 0.75;

fn alike_but_for_width(a: &Bar, b: &Bar) -> bool {
    let turn = a.across.perp(&b.across).abs();
    // Bars have no sense of up and down: opposite vectors are the same direction.
    let parallel = turn < tolerance(b) && a.across.dot(&b.across).abs() > 0.9;
    // Black is the same black everywhere on a card; shaded paper is not black.
    let same_black = (a.dark - b.dark).abs() < DARK * (a.bright.min(b.bright) - a.dark.min(b.dark));
    parallel && same_black
}

/// The gap along, if two bars may be pieces of one stripe; negative where they overlap.
fn in_line(a: &Bar, b: &Bar) -> Option<f64> {
    let (a, b) = if a.length < b.length { (b, a) } else { (a, b) };
    let (across, along) = a.towards(b);
    let drift = along.abs() * (tolerance(b) / 2.0).min(0.05);
    let mean = (a.width + b.width) / 2.0;
    let fits = like(a, b) && across.abs() < 0.15 * mean + 1.5 + drift;
    fits.then_some(along.abs() - (a.length + b.length) / 2.0)
}

/// Whether two pieces in line, so far apart, may be one stripe of one card.
fn one_stripe(picture: &Picture, ruler: &Ruler, a: &Bar, b: &Bar, gap: f64) -> bool {
    gap < ruler.pixels(WIDEST_FILM_MM) && !margin_between(picture, ruler, a, b)
}

/// Whether two bars look like neighbouring stripes.
fn beside(picture: &Picture, a: &Bar, b: &Bar) -> bool {
    let (a, b) = if a.length < b.length { (b, a) } else { (a, b) };
    let (across, along) = a.towards(b);
    let mean = (a.width + b.width) / 2.0;
    let gap = across.abs() - mean;
    let overlap = (a.length + b.length) / 2.0 - along.abs();
    let beside = (0.35 * mean..2.6 * mean).contains(&gap) && overlap > 0.5 * b.length;
    // Stripes of one card begin and end alike, and so do their bare parts between films.
    let end = |side: f64| (along + side * (b.length - a.length) / 2.0).abs();
    let ends_alike = end(1.0).max(end(-1.0)) < 0.1 * a.length + 2.0;
    let widest = if ends_alike { BY_EYE } else { ALIKE };
    let wide = differ(a, b) < widest;
    alike_but_for_width(a, b) && wide && beside && white_between(picture, a, b, across, along)
}

/// Whether white like that beside the bars follows right after both of two pieces in line, as margins do.
fn margin_between(picture: &Picture, ruler: &Ruler, a: &Bar, b: &Bar) -> bool {
    let (across, along) = a.towards(b);
    let gap = along.abs() - (a.length + b.length) / 2.0;
    if gap < ruler.pixels(4.0) {
        return false;
    }
    let limit = a.bright.min(b.bright) - 0.08 * (a.bright.min(b.bright) - a.dark.max(b.dark));
    let span = ruler.pixels(2.0).min(gap / 3.0);
    let white = |from: f64| {
        let spots = (0..6).flat_map(|k| {
            [-0.25, 0.0, 0.25].map(|u| (u, from + span * (f64::from(k) + 0.5) / 6.0))
        });
        spots
            .filter(|&(u, t)| {
                let share = t / gap;
                let v = a.length / 2.0 + t;
                let p = a.centre
                    + a.along() * v.copysign(along)
                    + a.across * (across * share + u * a.width);
                picture.brightness_at(p.x, p.y) > limit
            })
            .count()
            > 14
    };
    let blur = 1.5_f64.min(span / 2.0);
    white(blur) && white(gap - span - blur)
}

/// Whether some rows shared by two bars are white from one to the other.
fn white_between(picture: &Picture, a: &Bar, b: &Bar, across: f64, along: f64) -> bool {
    let (top, bottom) = (
        (-a.length).max(2.0 * along - b.length) / 2.0,
        a.length.min(2.0 * along + b.length) / 2.0,
    );
    let start = a.centre + a.across * (a.width / 2.0).copysign(across);
    let gap = a.across * (across.abs() - (a.width + b.width) / 2.0).copysign(across);
    let limit = a.dark.max(b.dark) + BRIGHT * (a.bright.min(b.bright) - a.dark.max(b.dark));
    let rows = ((bottom - top) / 2.0).ceil().max(1.0);
    let white = |&row: &f64| {
        let v = a.along() * (top + (bottom - top) * (row + 0.5) / rows);
        [0.15, 0.3, 0.45, 0.6, 0.75, 0.85].iter().all(|&t| {
            let p = start + gap * t + v;
            picture.brightness_at(p.x, p.y) > limit
        })
    };
    let count = (0..rows as usize).map(|r| r as f64).filter(white).count();
    count >= 2 && count as f64 >= 0.15 * rows
}

/// Median. Leaves the values in another order.
pub(super) fn median(values: &mut [f32]) -> f32 {
    let n = values.len();
    if n == 0 {
        return f32::NAN;
    }
    let (below, &mut upper, _) = values.select_nth_unstable_by(n / 2, f32::total_cmp);
    let lower = if n.is_multiple_of(2) {
        below
            .iter()
            .copied()
            .max_by(f32::total_cmp)
            .unwrap_or(upper)
    } else {
        upper
    };
    (lower + upper) / 2.0
}

#[cfg(test)]
mod tests {
    use super::*;

    fn bar(x: f64, y: f64, degrees: f64) -> Bar {
        let (sine, cosine) = degrees.to_radians().sin_cos();
        Bar {
            id: 0,
            centre: vector![x, y],
            across: vector![cosine, sine],
            width: 20.0,
            length: 60.0,
            dark: 0.2,
            bright: 0.9,
        }
    }

    #[test]
    fn pieces_of_one_stripe_lie_in_line() {
        let gap = in_line(&bar(50.0, 50.0, 0.0), &bar(50.5, 150.0, 180.0)).unwrap();
        assert!((gap - 40.0).abs() < 1e-9);
        assert!(in_line(&bar(50.0, 50.0, 0.0), &bar(90.0, 150.0, 0.0)).is_none());
        assert!(in_line(&bar(50.0, 50.0, 0.0), &bar(50.0, 150.0, 9.0)).is_none());
    }

    #[test]
    fn groups_join_only_stripe_for_stripe() {
        let ruler = Ruler {
            per_mm: 4.0,
            known: true,
        };
        let two = vec![bar(50.0, 50.0, 0.0), bar(90.0, 50.0, 0.0)];
        let below = vec![bar(50.0, 150.0, 0.0), bar(90.0, 150.0, 0.0)];
        let one = vec![bar(50.0, 150.0, 0.0)];
        let far = vec![bar(50.0, 900.0, 0.0), bar(90.0, 900.0, 0.0)];
        assert_eq!(joined(&ruler, &[two.clone(), below]).len(), 1);
        assert!(joined(&ruler, &[two.clone(), one]).is_empty());
        assert!(joined(&ruler, &[two, far]).is_empty());
    }

    /// A white film that hides near the stripes' end leaves a stub beyond it. Beside the card lies another one, and a piece of it that
    /// stands in line was taken for one more of the card's, but no stub goes on from it: so the stub was not joined, and the card
    /// lost that film without a word (`crooked-05` of `tests/second_renderer`).
    #[test]
    fn a_stub_is_joined_to_what_is_known_to_be_its_card() {
        let ruler = Ruler {
            per_mm: 4.0,
            known: true,
        };
        let own = vec![bar(50.0, 150.0, 0.0), bar(90.0, 150.0, 0.0)];
        let stub = vec![bar(50.0, 50.0, 0.0), bar(90.0, 50.0, 0.0)];
        let foreign = bar(130.0, 300.0, 0.0);
        let all: Vec<Bar> = own.iter().cloned().chain([foreign]).collect();
        assert!(joined(&ruler, &[all, stub.clone()]).is_empty());
        let chain = joined_to(&ruler, own.clone(), std::slice::from_ref(&stub)).unwrap();
        assert_eq!(chain.len(), 4);
        assert!(joined_to(&ruler, own, &[]).is_none());
    }
}
