//! A card as it was drawn: what lies at every point of it, raggedness and all.

use super::{
    marks::Mark,
    random::{Mottle, Random, Ripple},
    scene::{Card, Edges, Film},
    sensor::Sensor,
    shades::{Ladder, Shades},
};
use crate::{card::Ground, spectrum::wavelengths};

/// A card ready to be looked at through a sensor, point by point.
#[derive(Debug, Clone)]
pub struct Drawn {
    edges: Vec<f64>,
    grounds: Vec<Ground>,
    length: f64,
    margins: [f64; 4],
    waviness: f64,
    wave: Vec<Ripple>,
    smear: f64,
    films: Vec<DrawnFilm>,
    white: Shades,
    black: Shades,
    paper: Shades,
    tapes: Vec<Tape>,
    glow: [f64; 3],
    sheet: f64,
}

impl Drawn {
    /// Draws `card`, with everything random taken from `seed`. `ladder` holds the films of its paint.
    pub fn new(card: &Card, ladder: &Ladder, sensor: &Sensor, seed: u64) -> Self {
        let edges = card.edges();
        let mut random = Random::of(seed, "stripe edges");
        let wave = edges
            .iter()
            .map(|_| Ripple::new(&mut random, 9.0))
            .collect();
        let middle = 0.5 * card.width();
        let films = card
            .films
            .iter()
            .enumerate()
            .map(|(i, film)| {
                DrawnFilm::new(film, middle, &mut Random::of(seed, &format!("film {i}")))
            })
            .collect();
        let shades = |ground| ladder.shades(ground, &sensor.channels, card.haze);
        Self {
            edges,
            grounds: card.stripes.iter().map(|s| s.ground).collect(),
            length: card.length,
            margins: card.margins,
            waviness: card.waviness,
            wave,
            smear: card.smear,
            films,
            white: shades(&card.white),
            black: shades(&card.black),
            paper: shades(&card.paper),
            tapes: card.marks.iter().filter_map(Tape::new).collect(),
            glow: sensor.see(&wavelengths().map(|nm| {
                let x = (nm - 605.0) / 18.0;
                card.glow * libm::exp(-0.5 * x * x)
            })),
            sheet: card.sheet,
        }
    }

    /// Sensor channels at a point of the card; none beyond its paper.
    pub fn at(&self, u: f64, v: f64) -> Option<[f64; 3]> {
        let [left, top, right, bottom] = self.margins;
        let width = self.edges[self.edges.len() - 1];
        if u < -left || v < -top || u > width + right || v > self.length + bottom {
            return None;
        }
        let build = self.build(u, v);
        let seen = match self.stripe(u, v) {
            None => self.paper.at(build),
            Some(i) => match self.grounds[i] {
                Ground::Black => self.black.at(build),
                Ground::White => self.over_white(i, u, build),
            },
        };
        let glowing = 1.0 - libm::exp(-build);
        Some(std::array::from_fn(|c| {
            (seen[c] + glowing * self.glow[c]) * (1.0 - 2.0 * self.sheet) + self.sheet
        }))
    }

    /// Lays tape over whatever is seen at a point, on the card or beside it.
    pub fn taped(&self, u: f64, v: f64, mut seen: [f64; 3]) -> [f64; 3] {
        for tape in self.tapes.iter().filter(|t| t.covers(u, v)) {
            seen = std::array::from_fn(|c| seen[c] + tape.cover * (tape.colour[c] - seen[c]));
        }
        seen
    }

    /// Build of paint at a point, all films together.
    pub fn build(&self, u: f64, v: f64) -> f64 {
        self.films.iter().map(|film| film.build(u, v)).sum()
    }

    /// Index of the stripe at a point; none on the paper around.
    fn stripe(&self, u: f64, v: f64) -> Option<usize> {
        if v < 0.0 || v > self.length {
            return None;
        }
        // The outermost edges lie on the paper's edge when there is no margin, so they do not wave.
        let last = self.edges.len() - 1;
        let edge = |i: usize| {
            let straight =
                (i == 0 && self.margins[0] == 0.0) || (i == last && self.margins[2] == 0.0);
            self.edges[i]
                + if straight || self.waviness == 0.0 {
                    0.0
                } else {
                    self.waviness * self.wave[i].at(v)
                }
        };
        if u < edge(0) || u > edge(last) {
            return None;
        }
        Some((1..last).take_while(|&i| u >= edge(i)).count())
    }

    fn over_white(&self, stripe: usize, u: f64, build: f64) -> [f64; 3] {
        let clean = self.white.at(build);
        // The knife carries black from the stripe to the left.
        if self.smear == 0.0 || stripe == 0 || self.grounds[stripe - 1] != Ground::Black {
            return clean;
        }
        let share = self.smear * libm::exp(-(u - self.edges[stripe]) / 1.5);
        let dirty = self.black.at(build);
        std::array::from_fn(|c| clean[c] + share * (dirty[c] - clean[c]))
    }
}

#[derive(Debug, Clone)]
struct Tape {
    centre: [f64; 2],
    half: [f64; 2],
    sin: f64,
    cos: f64,
    colour: [f64; 3],
    cover: f64,
}

impl Tape {
    fn new(mark: &Mark) -> Option<Self> {
        let Mark::Tape {
            centre,
            size,
            angle,
            colour,
            cover,
        } = mark
        else {
            return None;
        };
        let angle = angle.to_radians();
        Some(Self {
            centre: *centre,
            half: size.map(|s| 0.5 * s),
            sin: libm::sin(angle),
            cos: libm::cos(angle),
            colour: *colour,
            cover: *cover,
        })
    }

    fn covers(&self, u: f64, v: f64) -> bool {
        let (x, y) = (u - self.centre[0], v - self.centre[1]);
        (self.cos * x + self.sin * y).abs() < self.half[0]
            && (self.cos * y - self.sin * x).abs() < self.half[1]
    }
}

/// Width of one bin of bubbles along u, in mm.
const BIN: f64 = 2.0;

#[derive(Debug, Clone)]
struct DrawnFilm {
    film: Film,
    middle: f64,
    streaks: Option<[Ripple; 3]>,
    streak_mean: f64,
    blotches: Option<Mottle>,
    ragged_edges: Option<[Ripple; 2]>,
    ragged_end: Option<Ripple>,
    bubbles: Vec<Vec<Bubble>>,
}

#[derive(Debug, Clone, Copy)]
struct Bubble {
    at: [f64; 2],
    radius: f64,
}

impl DrawnFilm {
    fn new(film: &Film, middle: f64, random: &mut Random) -> Self {
        let mut drawn = Self {
            film: film.clone(),
            middle,
            streaks: None,
            streak_mean: 0.0,
            blotches: None,
            ragged_edges: None,
            ragged_end: None,
            bubbles: Vec::new(),
        };
        if film.streaks > 0.0 {
            drawn.streaks =
                Some([0.35, 1.1, 4.0].map(|wavelength| Ripple::new(random, wavelength)));
            // The film's mean build stays what it is said to be.
            let steps = 400;
            let mean = |i: i32| {
                drawn.raw_streak(
                    film.from + (film.to - film.from) * (f64::from(i) + 0.5) / f64::from(steps),
                )
            };
            drawn.streak_mean = (0..steps).map(mean).sum::<f64>() / f64::from(steps);
        }
        if film.blotches > 0.0 {
            drawn.blotches = Some(Mottle::new(random, 3.0));
        }
        if matches!(film.edges, Edges::Brushed { .. }) {
            drawn.ragged_edges = Some([Ripple::new(random, 2.2), Ripple::new(random, 2.2)]);
        }
        if film.ragged_end > 0.0 {
            drawn.ragged_end = Some(Ripple::new(random, 0.9));
        }
        drawn.strew_bubbles(random);
        drawn
    }

    fn strew_bubbles(&mut self, random: &mut Random) {
        let [start, end] = self.film.reach;
        let area = (end - start) * (self.film.to - self.film.from) / 100.0;
        let count = (self.film.bubbles * area).round() as usize;
        self.bubbles = vec![Vec::new(); ((end - start) / BIN).ceil().max(0.0) as usize + 1];
        for _ in 0..count {
            let at = [
                random.between(start, end),
                random.between(self.film.from, self.film.to),
            ];
            let bubble = Bubble {
                at,
                radius: random.between_log(0.08, 0.5),
            };
            let bin = ((at[0] - start) / BIN) as usize;
            self.bubbles[bin].push(bubble);
        }
    }

    fn raw_streak(&self, c: f64) -> f64 {
        // Three scales whose squares sum to 1.
        self.streaks.as_ref().map_or(0.0, |[fine, middle, coarse]| {
            0.55 * fine.at(c) + 0.65 * middle.at(c) + 0.525 * coarse.at(c)
        })
    }

    fn build(&self, u: f64, v: f64) -> f64 {
        let film = &self.film;
        let c = v - film.slant * (u - self.middle);
        if c < film.from - 4.0 || c > film.to + 4.0 {
            return 0.0;
        }
        let ragged_end = self
            .ragged_end
            .as_ref()
            .map_or(0.0, |r| film.ragged_end * r.at(c));
        let inside_ends = (u - film.reach[0]).min(film.reach[1] + ragged_end - u);
        let shape = self.edge_profile(u, c) * ramp(inside_ends, 0.3);
        if shape <= 0.0 {
            return 0.0;
        }
        let half_height = 0.5 * (film.to - film.from);
        let mut factor = 1.0
            + film.along * (u - self.middle) / self.middle
            + film.across * (c - 0.5 * (film.from + film.to)) / half_height;
        if film.streaks > 0.0 {
            factor +=
                film.streaks * (self.raw_streak(c + 0.02 * (u - self.middle)) - self.streak_mean);
        }
        if let Some(blotches) = &self.blotches {
            factor += film.blotches * blotches.at(u, c);
        }
        film.build * shape * factor.max(0.03) * self.bubble_factor(u, c)
    }

    /// 0 outside the long edges, 1 well inside, more on a ridge or bead.
    fn edge_profile(&self, u: f64, c: f64) -> f64 {
        let film = &self.film;
        let mut top = c - film.from;
        let mut bottom = film.to - c;
        if let (Edges::Brushed { ragged }, Some([upper, lower])) = (film.edges, &self.ragged_edges)
        {
            top += ragged * upper.at(u);
            bottom += ragged * lower.at(u);
        }
        let inside = top.min(bottom);
        let hump = |centre: f64, width: f64| {
            let x = (inside - centre) / width;
            libm::exp(-x * x)
        };
        match film.edges {
            Edges::Taped { ridge } => {
                let edge = if inside >= 0.0 { 1.0 } else { 0.0 };
                if ridge > 0.0 {
                    edge * (1.0 + ridge * hump(0.0, 0.45))
                } else {
                    edge
                }
            }
            Edges::Knife { bead } => ramp(inside, 0.3) * (1.0 + bead * hump(0.7, 0.5)),
            Edges::Brushed { .. } => ramp(inside, 0.9),
        }
    }

    fn bubble_factor(&self, u: f64, c: f64) -> f64 {
        if self.film.bubbles <= 0.0 {
            return 1.0;
        }
        let bin = (u - self.film.reach[0]) / BIN;
        let (low, high) = (
            (bin - 0.5).max(0.0) as usize,
            ((bin + 0.5).max(0.0) as usize).min(self.bubbles.len() - 1),
        );
        for bubble in self.bubbles[low.min(high)..=high].iter().flatten() {
            let distance = libm::hypot(u - bubble.at[0], c - bubble.at[1]) / bubble.radius;
            if distance < 0.8 {
                return 0.12;
            }
            if distance < 1.1 {
                return 1.5;
            }
        }
        1.0
    }
}

/// 0 to 1 over `width` mm, a half at 0.
fn ramp(inside: f64, width: f64) -> f64 {
    (0.5 + inside / width).clamp(0.0, 1.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::simulate::{random::Random, scene::Film};

    fn drawn(change: impl Fn(&mut Film)) -> DrawnFilm {
        let mut film = Film::even(1.0, 20.0, 40.0, 60.0);
        change(&mut film);
        DrawnFilm::new(&film, 30.0, &mut Random::new(5))
    }

    fn mean_build(film: &DrawnFilm) -> f64 {
        let n = 60_000;
        let at = |i: i32| {
            film.build(
                60.0 * (f64::from(i % 300) + 0.5) / 300.0,
                20.0 + 20.0 * (f64::from(i / 300) + 0.5) / 200.0,
            )
        };
        (0..n).map(at).sum::<f64>() / f64::from(n)
    }

    #[test]
    fn an_even_film_is_even_and_ends_at_its_edges() {
        let film = drawn(|_| ());
        assert_eq!(film.build(1.0, 20.01), 1.0);
        assert_eq!(film.build(59.0, 39.99), 1.0);
        assert_eq!(film.build(30.0, 19.99), 0.0);
        assert_eq!(film.build(30.0, 40.01), 0.0);
        assert_eq!(film.build(-5.0, 30.0), 0.0);
    }

    #[test]
    fn unevenness_keeps_the_mean_build() {
        for film in [
            drawn(|f| f.along = 0.2),
            drawn(|f| f.across = -0.2),
            drawn(|f| f.streaks = 0.1),
            drawn(|f| f.blotches = 0.05),
        ] {
            let mean = mean_build(&film);
            assert!((mean - 1.0).abs() < 0.02, "{mean}: {:?}", film.film);
        }
    }

    #[test]
    fn half_the_build_lies_on_the_edge_of_a_knife_film() {
        let film = drawn(|f| f.edges = Edges::Knife { bead: 0.0 });
        assert!((film.build(30.0, 20.0) - 0.5).abs() < 1e-12);
        assert!((film.build(30.0, 40.0) - 0.5).abs() < 1e-12);
    }

    #[test]
    fn a_slanted_film_falls_to_the_right() {
        let film = drawn(|f| f.slant = 0.05);
        assert_eq!(film.build(0.0, 19.0), 1.0);
        assert_eq!(film.build(60.0, 19.0), 0.0);
        assert_eq!(film.build(60.0, 41.0), 1.0);
    }

    #[test]
    fn bubbles_thin_small_spots() {
        let film = drawn(|f| f.bubbles = 4.0);
        let mean = mean_build(&film);
        assert!(mean < 0.999 && mean > 0.9, "{mean}");
    }
}
