//! What a reading of a group of bars is worth, which readings stay, and what has to be asked.

use super::{
    bars::{Bar, quarter},
    films::{self, Film},
    line::Line,
    picture::Picture,
    reading::Reading,
    segments::Segment,
    stripes::Fits,
};
use crate::card::{Ground, rectify::Frame};

/// One reading of one group of bars as a card.
pub(super) struct Candidate {
    pub(super) reading: Reading,
    /// Median distance of the stripes' edge points from straight lines, in pixels.
    pub(super) roughness: f64,
    /// Whether it may be a gap between two cards.
    gap: bool,
    /// Whether its black stripes run off onto a black lid.
    run_off: bool,
    /// Whether it spans plain white gaps, and so may be several cards in line.
    joined: bool,
    /// Share of its films that stop between two of its stripes.
    stopped: Option<f64>,
    /// Whether films run on from stripe to stripe, so that all of these are one card's.
    through: bool,
    /// Length of strong edges in the card that this reading explains, in mm, and their share of all there.
    explained: (f64, f64),
    /// How many of the stripes' edges hardly show.
    pub(super) unseen: usize,
    /// How far it behaves as paint on stripes does: 1 in every way.
    pub(super) likelihood: f64,
    pub(super) score: f64,
    /// Score of the best reading with films whose stripes run across this one's.
    pub(super) rival: f64,
}

impl Candidate {
    pub(super) fn of(
        picture: &Picture,
        fits: &Fits,
        segments: &[Segment],
        group: &[Bar],
        joined: bool,
        wish: Option<usize>,
    ) -> Vec<Self> {
        let read = |beyond| Self::one(picture, fits, segments, group, joined, wish, beyond);
        let Some((first, followed)) = read(true) else {
            return Vec::new();
        };
        // What looks like more of the stripes may belong to another card that stands in line with them.
        if followed > first.reading.ruler.pixels(FOLLOWED_MM) {
            return read(false)
                .into_iter()
                .map(|(short, _)| short)
                .chain([first])
                .collect();
        }
        vec![first]
    }

    /// With the stripes followed beyond the bars or not, and how far.
    fn one(
        picture: &Picture,
        fits: &Fits,
        segments: &[Segment],
        group: &[Bar],
        joined: bool,
        wish: Option<usize>,
        beyond: bool,
    ) -> Option<(Self, f64)> {
        let (ruler, stripes) = fits.of(group, beyond)?;
        let last = stripes.blacks.len() - 1;
        let corners = stripes.corners(stripes.blacks[0][0], stripes.blacks[last][1]);
        let size = sides(&corners);
        let frame = Frame::new(&corners, size)?;
        let middle = stripes.middle_row();
        let across = |u: f64| {
            let p = stripes.place(u, middle);
            frame.to_card([p.x, p.y])[0]
        };
        let blacks = stripes.blacks.iter().map(|b| b.map(across)).collect();
        let [left, right] = stripes.whites(picture);
        let whites = [-left, size[0] + right];
        let reading = Reading::new(
            picture,
            ruler,
            (frame, size),
            blacks,
            whites,
            stripes.levels,
            None,
        );
        let mut candidate = Self {
            reading,
            roughness: stripes.roughness,
            unseen: stripes.unseen,
            run_off: stripes.run_off(picture, &ruler),
            gap: stripes.is_gap(picture, &ruler),
            joined,
            stopped: None,
            through: false,
            explained: (0.0, 0.0),
            likelihood: 0.0,
            score: 0.0,
            rival: 0.0,
        };
        candidate.look_through(picture);
        candidate.explained = candidate.explain(segments);
        candidate.likelihood = candidate.likely();
        candidate.score = candidate.worth();
        // A reading that comes to the wished number by itself is the likelier one.
        if wish.is_some_and(|count| count != candidate.reading.films.films.len()) {
            candidate.score *= UNWISHED;
        }
        Some((candidate, stripes.beyond))
    }

    /// How much of what is seen this reading explains, times how far it behaves as paint on stripes does.
    fn worth(&self) -> f64 {
        let with_films = if self.has_films() { 1.0 } else { 0.25 };
        self.explained.0 * with_films * self.likelihood
    }

    /// Takes exactly so many films instead, where that is possible.
    pub(super) fn keep_to(&mut self, picture: &Picture, films: usize) {
        self.reading.keep_to(picture, films);
        self.look_through(picture);
        self.likelihood = self.likely();
    }

    fn likely(&self) -> f64 {
        let straight = bell(self.roughness / self.reading.ruler.per_mm / 0.25);
        let contrast = f64::from(self.reading.levels.contrast());
        let solid = bell(self.reading.films.unevenness(self.reading.size[1]) / contrast / 0.15);
        straight
            * solid
            * self.regularity()
            * self.evenness()
            * self.physics()
            * self.completeness()
            * self.no_gap()
            * if self.stopped > Some(PART) || self.reading.film_is_margin() {
                PARTED
            } else {
                1.0
            }
            * bell((1.0 - self.explained.1) / 0.3)
    }

    /// Whether the lid beside an outermost white stripe may be one more black stripe.
    pub(super) fn hides_outer_black(&self, picture: &Picture) -> bool {
        self.run_off && self.reading.black_beyond(picture)
    }

    /// Whether every film is, over white and over black, as black as the stripes: nothing then tells films from stripes.
    pub(super) fn is_grid(&self) -> bool {
        let card = &self.reading;
        let rows = card.bare_rows(Ground::Black);
        if rows.is_empty() {
            return false;
        }
        let stripe = films::median_colour(&rows);
        let is_stripe = |film: &Film, ground| {
            card.film_colour(film, ground)
                .is_some_and(|colour| (0..3).all(|c| (colour[c] - stripe[c]).abs() < SAME_BLACK))
        };
        self.has_films()
            && card.films.films.iter().all(|film| {
                [Ground::White, Ground::Black]
                    .iter()
                    .all(|ground| is_stripe(film, *ground))
            })
    }

    /// Whether nothing speaks against its being a card with films.
    pub(super) fn is_sure(&self) -> bool {
        self.has_films() && self.likelihood > SURE
    }

    /// Whether it is as good a card as plain ones are.
    pub(super) fn is_plain(&self) -> bool {
        self.has_films() && self.likelihood > PLAIN
    }

    /// Whether a bar's middle lies on it.
    pub(super) fn holds(&self, bar: &Bar) -> bool {
        let [u, v] = self.reading.frame.to_card([bar.centre.x, bar.centre.y]);
        let [width, height] = self.reading.size;
        (0.0..=width).contains(&u) && (0.0..=height).contains(&v)
    }

    /// The bars that are parts of its black stripes.
    pub(super) fn own(&self, bars: &[Bar]) -> Vec<Bar> {
        let card = &self.reading;
        let is_part = |bar: &&Bar| {
            let half = bar.across * (bar.width / 2.0);
            let [a, b] =
                [bar.centre - half, bar.centre + half].map(|p| card.frame.to_card([p.x, p.y])[0]);
            let off = ALIKE_EDGES * bar.width;
            self.holds(bar)
                && card.blacks.iter().any(|black| {
                    (black[0] - a.min(b)).abs() < off && (black[1] - a.max(b)).abs() < off
                })
        };
        bars.iter().filter(is_part).cloned().collect()
    }

    /// How little a single black stripe looks like a gap between two cards: it ends, or paint shows on it.
    fn no_gap(&self) -> f64 {
        let painted = self.reading.films.films.iter().any(Film::shows_on_black);
        match (self.gap, painted) {
            (false, _) => 1.0,
            (true, true) => 0.4,
            (true, false) => 0.15,
        }
    }

    /// How few edges across the stripes there are that no film explains.
    fn completeness(&self) -> f64 {
        let films = &self.reading.films;
        let left_over = films
            .left_over
            .iter()
            .filter(|e| e.strength > LEFT_OVER)
            .count();
        bell(left_over as f64 / (films.films.len() + 1) as f64)
    }

    /// Whether there is a film that can be told from the card's own black and white.
    fn has_films(&self) -> bool {
        let contrast = f64::from(self.reading.levels.contrast());
        self.reading
            .films
            .films
            .iter()
            .any(|f| f.print(contrast).is_none())
    }

    /// Length of the strong edges in the card that are its stripes', films' or ends' (mm), and their share of all there.
    fn explain(&self, segments: &[Segment]) -> (f64, f64) {
        let card = &self.reading;
        let mm = card.ruler.per_mm;
        let ends = [0.0, card.size[1]].map(|at| Line { at, slope: 0.0 });
        let lines: Vec<Line> = card
            .films
            .films
            .iter()
            .flat_map(|f| [f.top, f.bottom])
            .chain(ends)
            .collect();
        let near = |d: f64| d.abs() < 1.2 * mm;
        let inside =
            |p: [f64; 2]| (0..2).all(|k| p[k] > -1.5 * mm && p[k] < card.size[k] + 1.5 * mm);
        let off = |l: &Line, p: [f64; 2]| p[1] - l.v(p[0] - card.middle());
        let (mut known, mut unknown) = (0.0, 0.0);
        for segment in segments {
            let [p, q] = [-segment.half, segment.half].map(|t| {
                let p = segment.centre + quarter(segment.normal) * t;
                card.frame.to_card([p.x, p.y])
            });
            if inside(p) && inside(q) {
                let stripe = card
                    .blacks
                    .iter()
                    .flatten()
                    .any(|u| near(p[0] - u) && near(q[0] - u));
                let film = lines.iter().any(|l| near(off(l, p)) && near(off(l, q)));
                *(if stripe || film {
                    &mut known
                } else {
                    &mut unknown
                }) += 2.0 * segment.half / mm;
            }
        }
        (known, known / (known + unknown).max(1e-9))
    }

    /// Looks at what the films do from stripe to stripe.
    fn look_through(&mut self, picture: &Picture) {
        self.stopped = self.reading.films_stopped(picture);
        self.through = match self.stopped {
            Some(stopped) => stopped < THROUGH,
            None => self.reading.films_on_all_blacks(picture),
        };
    }

    /// How alike the black stripes are in width. Painted by eye they may differ much; that they are one card's is then told by the films.
    fn regularity(&self) -> f64 {
        let blacks = &self.reading.blacks;
        if blacks.len() == 1 {
            return 0.6;
        }
        let n = blacks.len() as f64;
        let widths = || blacks.iter().map(|b| b[1] - b[0]);
        let mean = widths().sum::<f64>() / n;
        let spread = libm::sqrt(widths().map(|w| (w - mean) * (w - mean)).sum::<f64>() / n);
        bell(spread / mean / if self.through { 0.3 } else { 0.12 })
    }

    /// Whether bare black and bare white are the same everywhere, and black is a neutral black.
    fn evenness(&self) -> f64 {
        let contrast = f64::from(self.reading.levels.contrast());
        let mut factor = 1.0;
        for ground in [Ground::Black, Ground::White] {
            let rows = self.reading.bare_rows(ground);
            if rows.is_empty() {
                return 0.1;
            }
            let typical = films::median_colour(&rows);
            let off = |row: &[f64; 3]| {
                (0..3)
                    .map(|c| (row[c] - typical[c]).abs())
                    .fold(0.0, f64::max)
            };
            let mut offs: Vec<f64> = rows.iter().map(off).collect();
            offs.sort_unstable_by(f64::total_cmp);
            // A fifth may be spoilt by tape, writing or dirt.
            offs.truncate((4 * offs.len()).div_ceil(5));
            let spread = libm::sqrt(offs.iter().map(|d| d * d).sum::<f64>() / offs.len() as f64);
            factor *= bell(spread / contrast / 0.06);
            if ground == Ground::Black {
                let [r, g, b] = typical;
                factor *= bell((r.max(g).max(b) - r.min(g).min(b)) / contrast / 0.2);
            }
        }
        factor
    }

    /// How far the films behave as paint does.
    fn physics(&self) -> f64 {
        let card = &self.reading;
        let contrast = f64::from(card.levels.contrast());
        let mut factor = 1.0;
        let mut printed = 0.0;
        for film in &card.films.films {
            let [Some(white), Some(black)] =
                [Ground::White, Ground::Black].map(|g| card.film_colour(film, g))
            else {
                continue;
            };
            if film.print(contrast).is_some() {
                printed += 1.0;
            }
            // A darker ground never gives a lighter film.
            let lighter = (0..3).map(|c| black[c] - white[c]).sum::<f64>() / 3.0;
            factor *= bell((lighter - 0.01).max(0.0) / contrast / 0.05);
        }
        factor * (1.0 - 0.75 * printed / card.films.films.len().max(1) as f64)
    }

    /// Whether the other reading's stripes run across this one's.
    fn crosses(&self, other: &Self) -> bool {
        let along = |c: &Self| {
            let [a, b] = [0.0, c.reading.size[1]].map(|v| c.reading.frame.to_scan([0.0, v]));
            [b[0] - a[0], b[1] - a[1]]
        };
        let (p, q) = (along(self), along(other));
        (p[0] * q[0] + p[1] * q[1]).abs() < (p[0] * q[1] - p[1] * q[0]).abs()
    }

    /// Share of this card's area, with the white beside it, that lies on the stripes of the other one.
    fn overlap(&self, other: &Self) -> f64 {
        let [left, right] = self.reading.whites;
        let inside = |i: usize, j: usize| {
            let at = |k: usize, s: f64| (k as f64 + 0.5) / 12.0 * s;
            let place = [left + at(i, right - left), at(j, self.reading.size[1])];
            let p = other
                .reading
                .frame
                .to_card(self.reading.frame.to_scan(place));
            p[0] >= 0.0
                && p[1] >= 0.0
                && p[0] <= other.reading.size[0]
                && p[1] <= other.reading.size[1]
        };
        (0..144).filter(|k| inside(k % 12, k / 12)).count() as f64 / 144.0
    }
}

/// Mean width and height of a quadrangle.
pub(super) fn sides(corners: &[[f64; 2]; 4]) -> [f64; 2] {
    let side = |i: usize, j: usize| {
        libm::hypot(corners[j][0] - corners[i][0], corners[j][1] - corners[i][1])
    };
    [
        (side(0, 1) + side(3, 2)) / 2.0,
        (side(0, 3) + side(1, 2)) / 2.0,
    ]
}

/// Of readings that lie over each other, keeps the best. Readings without films only count if there are none with.
pub(super) fn choose(mut candidates: Vec<Candidate>) -> Vec<Candidate> {
    crate::order::sort_by_number(&mut candidates, |candidate| -candidate.score);
    drop_false_joins(&mut candidates);
    drop_rows_of_cards(&mut candidates);
    let mut kept: Vec<Candidate> = Vec::new();
    for candidate in candidates {
        let over = kept
            .iter_mut()
            .find(|k| k.overlap(&candidate).max(candidate.overlap(k)) > 0.15);
        match over {
            Some(k) if k.crosses(&candidate) && candidate.has_films() => {
                k.rival = k.rival.max(candidate.score)
            }
            Some(_) => {}
            None => kept.push(candidate),
        }
    }
    if kept.iter().any(Candidate::has_films) {
        kept.retain(Candidate::has_films);
    } else {
        kept.truncate(1);
        kept.iter_mut().for_each(|c| c.reading.films.films.clear());
    }
    let best = kept.iter().map(|c| c.score).fold(0.0, f64::max);
    kept.retain(|c| c.likelihood > LIKELY && c.score > MATTERS * best);
    drop_writing(&mut kept);
    kept
}

/// Upright strokes of writing look like stripes, and what crosses them like films; but they are small. `kept`: the best
/// reading first.
fn drop_writing(kept: &mut Vec<Candidate>) {
    let Some(best) = kept.first() else { return };
    let area = |c: &Candidate| c.reading.size[0] * c.reading.size[1];
    let (largest, fits) = (area(best), best.reading.ruler.known);
    let good = NARROW_MATTERS * best.score;
    // Where the best card agrees with the scan's resolution, the others have to, or be as good a card.
    kept.retain(|c| {
        area(c) > SMALL * largest && (c.reading.ruler.known || !fits || c.score > good)
    });
}

/// The share of the best one's worth from which on a card counts whose stripes are none by the scan's resolution.
const NARROW_MATTERS: f64 = 0.15;
/// Least area of a card, as a share of the best one's: 50 by 25 mm beside a card of half an A4 page.
const SMALL: f64 = 0.02;

/// How far a bar's edges may lie from those of the stripe that it is part of, as a share of its width: bars in the rows of films
/// are a little wider.
const ALIKE_EDGES: f64 = 0.15;
/// Stripes that go on so far beyond their bars may be another card's.
const FOLLOWED_MM: f64 = 8.0;
/// What a reading is worth that comes to another number of films than was wished.
const UNWISHED: f64 = 0.5;
/// Edges across the stripes that stand out more than this have to be explained.
pub(super) const LEFT_OVER: f64 = 12.0;
/// Blacks that differ less than this, of the light of white, are one black to the finder.
const SAME_BLACK: f64 = 0.005;
/// A reading less likely than this is no card.
const LIKELY: f64 = 0.1;
/// A reading more likely than this is a card.
const SURE: f64 = 0.5;
/// Plain cards reach this and more.
const PLAIN: f64 = 0.8;
/// A reading worth less than this share of the best one in the picture is a stray mark.
const MATTERS: f64 = 0.02;

/// A joined reading with a film that looks like bare card is several cards, if there are films without it.
fn drop_false_joins(candidates: &mut Vec<Candidate>) {
    let printed = |c: &Candidate| {
        let contrast = f64::from(c.reading.levels.contrast());
        c.reading
            .films
            .films
            .iter()
            .any(|f| f.print(contrast) == Some(Ground::White))
    };
    let parts_have_films = |c: &Candidate| {
        let part = |p: &Candidate| !p.joined && p.has_films() && p.overlap(c) > 0.8;
        candidates.iter().any(part)
    };
    let mut keep: Vec<bool> = candidates
        .iter()
        .map(|c| !(c.joined && printed(c) && parts_have_films(c)))
        .collect();
    let mut next = keep.drain(..);
    candidates.retain(|_| next.next().unwrap_or(true));
}

/// A reading whose parts are better cards by themselves and together explain more than it does is several cards.
fn drop_rows_of_cards(candidates: &mut Vec<Candidate>) {
    let several = |whole: &Candidate| {
        let mut parts: Vec<&Candidate> = Vec::new();
        let inside = candidates.iter().filter(|c| {
            let better = c.is_sure() && c.likelihood > whole.likelihood && c.score < whole.score;
            let beside = c.reading.blacks.len() < whole.reading.blacks.len();
            better
                && (!beside || !whole.through)
                && !c.joined
                && !c.crosses(whole)
                && c.overlap(whole) > PART_INSIDE
        });
        for part in inside {
            if parts
                .iter()
                .all(|p| p.overlap(part).max(part.overlap(p)) < 0.15)
            {
                parts.push(part);
            }
        }
        let together: f64 = parts.iter().map(|p| p.score).sum();
        parts.len() > 1 && together > MORE_TOGETHER * whole.score
    };
    let mut keep: Vec<bool> = candidates.iter().map(|c| !several(c)).collect();
    let mut next = keep.drain(..);
    candidates.retain(|_| next.next().unwrap_or(true));
}

/// More than this share of the films stops between two cards, and less than that within one.
const PART: f64 = 0.75;
const THROUGH: f64 = 0.5;
/// What is left of a reading that shows a gap between two cards: its films all stop between two black stripes, or one of
/// them is no film.
const PARTED: f64 = 0.25;
/// Share of a part that lies on the stripes of the whole; outermost margins do not.
const PART_INSIDE: f64 = 0.5;
/// How much more parts have to explain together.
const MORE_TOGETHER: f64 = 1.1;

/// 1 at 0, a half at 1, falling with the square beyond.
fn bell(x: f64) -> f64 {
    1.0 / (1.0 + x * x)
}
