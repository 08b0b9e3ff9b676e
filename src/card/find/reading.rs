//! One reading of a place in the picture as a card: its frame, its black stripes, its films, and the layout that follows.

use super::{
    Ruler, bars,
    films::{self, Film, Films, Squared},
    line::Line,
    picture::Picture,
    stripes::Levels,
};
use crate::card::{Doubt, Edge, FilmBand, Ground, Layout, Stripe, rectify::Frame};

/// A card as read. Positions are in pixels of the reduced picture, as `frame` lays them out: u across the stripes, v along them.
pub(super) struct Reading {
    pub(super) frame: Frame,
    pub(super) size: [f64; 2],
    /// Left and right edge of every black stripe.
    pub(super) blacks: Vec<[f64; 2]>,
    /// How far white reaches to the left and right, with the stripes themselves.
    pub(super) whites: [f64; 2],
    /// Left and right edge of the card: of the outermost stripes that count.
    pub(super) borders: [f64; 2],
    pub(super) films: Films,
    pub(super) levels: Levels,
    pub(super) ruler: Ruler,
}

impl Reading {
    /// Looks for films across the black stripes of a frame. `whites` is how far white reaches to the left and right. The
    /// card ends at the frame's own borders.
    pub(super) fn new(
        picture: &Picture,
        ruler: Ruler,
        (frame, size): (Frame, [f64; 2]),
        blacks: Vec<[f64; 2]>,
        whites: [f64; 2],
        levels: Levels,
        wish: Option<usize>,
    ) -> Self {
        let per_mm = ruler.per_mm;
        let squared = Squared {
            picture,
            frame: &frame,
            size,
            blacks: &blacks,
            whites,
            per_mm,
        };
        let films = films::films(&squared, wish);
        Self {
            borders: [0.0, size[0]],
            whites,
            frame,
            size,
            blacks,
            films,
            levels,
            ruler,
        }
    }

    /// Takes exactly so many films instead, where that is possible.
    pub(super) fn keep_to(&mut self, picture: &Picture, films: usize) {
        let squared = Squared {
            picture,
            frame: &self.frame,
            size: self.size,
            blacks: &self.blacks,
            whites: self.whites,
            per_mm: self.ruler.per_mm,
        };
        self.films = films::films(&squared, Some(films));
    }

    /// Median width of the white stripes between black ones; that of the black ones if there is but one.
    fn white_width(&self) -> f64 {
        let mut widths: Vec<f32> = self
            .blacks
            .windows(2)
            .map(|p| (p[1][0] - p[0][1]) as f32)
            .collect();
        if widths.is_empty() {
            widths = self.blacks.iter().map(|b| (b[1] - b[0]) as f32).collect();
        }
        f64::from(bars::median(&mut widths))
    }

    /// Middle of the black stripes: where an edge's position is counted.
    pub(super) fn middle(&self) -> f64 {
        (self.blacks[0][0] + self.blacks[self.blacks.len() - 1][1]) / 2.0
    }

    /// Pieces of bare card between the films, from top to bottom, a millimetre away from both.
    pub(super) fn bare_pieces(&self) -> Vec<[Line; 2]> {
        let mm = self.ruler.per_mm;
        let level = |at: f64| Line { at, slope: 0.0 };
        let mut edges = vec![level(mm)];
        edges.extend(
            self.films
                .films
                .iter()
                .flat_map(|f| [f.top.moved(-mm), f.bottom.moved(mm)]),
        );
        edges.push(level(self.size[1] - mm));
        edges
            .chunks_exact(2)
            .map(|c| [c[0], c[1]])
            .filter(|p| p[1].at > p[0].at)
            .collect()
    }

    /// Colours of the bare stripes of one ground, row by row.
    pub(super) fn bare_rows(&self, ground: Ground) -> Vec<[f64; 3]> {
        let pieces = self.bare_pieces();
        pieces
            .iter()
            .flat_map(|&p| self.films.rows(ground, p))
            .flatten()
            .copied()
            .collect()
    }

    /// A film's mean colour over one ground; none if the film is too narrow to tell.
    pub(super) fn film_colour(&self, film: &Film, ground: Ground) -> Option<[f64; 3]> {
        let inset = 1.5 * self.ruler.per_mm;
        mean(
            &self
                .films
                .cells(ground, [film.top.moved(inset), film.bottom.moved(-inset)]),
        )
    }

    /// Moves the borders out over white beyond the outermost black stripes, as far as it is card white and every film
    /// that can be seen there covers it, but not further than one stripe width. White that is much narrower than a
    /// stripe does not count, unless there is no other white.
    pub(super) fn include_outer_whites(&mut self, picture: &Picture) {
        let width = self.white_width();
        let reach = [-1.0, 1.0].map(|side| self.outer_white(picture, side, width));
        let least = if self.blacks.len() == 1 && reach[0].max(reach[1]) < 0.5 * width {
            (0.25 * width).max(1.0).min(reach[0].max(reach[1]))
        } else {
            0.5 * width
        };
        let outer = [self.blacks[0][0], self.blacks[self.blacks.len() - 1][1]];
        for (k, side) in [-1.0, 1.0].into_iter().enumerate() {
            self.borders[k] = outer[k]
                + if reach[k] >= least {
                    side * reach[k]
                } else {
                    0.0
                };
        }
    }

    /// How far white that counts goes on beyond the outermost black stripe of one side.
    fn outer_white(&self, picture: &Picture, side: f64, width: f64) -> f64 {
        let black = if side < 0.0 {
            self.blacks[0][0]
        } else {
            self.blacks[self.blacks.len() - 1][1]
        };
        let blur = self.ruler.pixels(0.8).max(2.0);
        let bare = self.bare_pieces();
        let is_white = |c: [f32; 3]| self.levels.off_white(c) < 0.15;
        let mut reach = self.goes_on(picture, &bare, black, side, [blur, width], &is_white);
        for film in &self.films.films {
            let Some(colour) = self.film_colour(film, Ground::White) else {
                continue;
            };
            let white = self.levels.white.map(f64::from);
            let step: [f64; 3] = std::array::from_fn(|c| colour[c] - white[c]);
            let size: f64 = step.iter().map(|s| s * s).sum();
            // A film that hardly shows on white cannot be followed there.
            if size < 0.03 * 0.03 {
                continue;
            }
            let covered = |c: [f32; 3]| {
                (0..3)
                    .map(|k| (f64::from(c[k]) - white[k]) * step[k])
                    .sum::<f64>()
                    > 0.5 * size
            };
            let inset = 0.2 * (film.bottom.at - film.top.at);
            let band = [film.top.moved(inset), film.bottom.moved(-inset)];
            reach = reach.min(self.goes_on(picture, &[band], black, side, [blur, width], &covered));
        }
        reach
    }

    /// Whether black follows on an outermost white stripe.
    pub(super) fn black_beyond(&self, picture: &Picture) -> bool {
        let outer = [self.blacks[0][0], self.blacks[self.blacks.len() - 1][1]];
        let bare = self.bare_pieces();
        let is_black = |c: [f32; 3]| self.levels.is_black(c);
        [-1.0, 1.0].into_iter().enumerate().any(|(k, side)| {
            let border = self.borders[k];
            let white = (border - outer[k]).abs();
            if white < MARGIN {
                return false;
            }
            // A quarter of a stripe, past the blur.
            let blur = self.ruler.pixels(1.0).max(2.0);
            let most = 0.25 * white;
            self.goes_on(
                picture,
                &bare,
                border + side * blur,
                side,
                [1.0, most],
                &is_black,
            ) >= most
        })
    }

    /// Whether what was taken for a film is two cards' margins and the lid between them: over black it is card white in one
    /// part and something else in another.
    pub(super) fn film_is_margin(&self) -> bool {
        let mm = self.ruler.per_mm;
        self.films.films.iter().any(|film| {
            let inside = [film.top.moved(mm), film.bottom.moved(-mm)];
            let zones = self.films.rows(Ground::Black, inside);
            let margins = zones.iter().filter(|rows| {
                let off = |row: &[f64; 3]| self.levels.off_white(row.map(|v| v as f32));
                let white = rows.iter().filter(|row| off(row) < 0.06).count();
                let other = rows.iter().filter(|row| off(row) > 0.12).count();
                white.min(other) as f64 > 1.5 * mm
            });
            2 * margins.count() > zones.len()
        })
    }

    /// The largest share of the films showing on white that stop somewhere between two black stripes: all of them do between two
    /// cards, hardly any within one. `None` where nothing shows, or there is one black stripe only.
    pub(super) fn films_stopped(&self, picture: &Picture) -> Option<f64> {
        let blur = self.ruler.pixels(0.8).max(2.0);
        let between = self.blacks.windows(2).flat_map(|pair| {
            let (from, to) = (pair[0][1] + blur, pair[1][0] - blur);
            let count = (to - from).max(0.0) as usize;
            (0..count).map(move |k| from + k as f64 + 0.5)
        });
        self.stopped_at(picture, Ground::White, between)
    }

    /// Whether films that show on black only are there on every black stripe, and none of these is as far from the next as on two
    /// cards, which have white outside: what the films do between the stripes cannot be seen.
    pub(super) fn films_on_all_blacks(&self, picture: &Picture) -> bool {
        let width = self.blacks.iter().map(|b| b[1] - b[0]).sum::<f64>() / self.blacks.len() as f64;
        let near = |pair: &[[f64; 2]]| pair[1][0] - pair[0][1] < FAR * width;
        let middles = self.blacks.iter().map(|b| 0.5 * (b[0] + b[1]));
        self.blacks.len() > 1
            && self.blacks.windows(2).all(near)
            && self.stopped_at(picture, Ground::Black, middles) == Some(0.0)
    }

    /// The largest share of the films showing on a ground that are not there at one of these places across.
    fn stopped_at(
        &self,
        picture: &Picture,
        ground: Ground,
        mut places: impl Iterator<Item = f64>,
    ) -> Option<f64> {
        let bare = match ground {
            Ground::White => self.levels.white,
            Ground::Black => [self.levels.black; 3],
        }
        .map(f64::from);
        let shown: Vec<([Line; 2], [f64; 3])> = (self.films.films.iter())
            .filter_map(|film| {
                let colour = self.film_colour(film, ground)?;
                let step: [f64; 3] = std::array::from_fn(|c| colour[c] - bare[c]);
                let inset = 0.25 * (film.bottom.at - film.top.at);
                let plain = step.iter().map(|s| s * s).sum::<f64>() > PLAIN * PLAIN;
                plain.then_some(([film.top.moved(inset), film.bottom.moved(-inset)], step))
            })
            .collect();
        if shown.is_empty() {
            return None;
        }
        let goes_on = |u: f64, (band, step): &([Line; 2], [f64; 3])| {
            let [from, to] = band.map(|line| line.v(u - self.middle()));
            let size: f64 = step.iter().map(|s| s * s).sum();
            let covered = (0..8).filter(|&k| {
                let [x, y] = self
                    .frame
                    .to_scan([u, from + (to - from) * (f64::from(k) + 0.5) / 8.0]);
                let colour = picture.sample(x, y);
                let along: f64 = (0..3)
                    .map(|c| (f64::from(colour[c]) - bare[c]) * step[c])
                    .sum();
                along > 0.4 * size
            });
            covered.count() >= 4
        };
        let stopped = |u: f64| shown.iter().filter(|film| !goes_on(u, film)).count();
        let first = stopped(places.next()?);
        let most = places.map(stopped).fold(first, usize::max);
        Some(most as f64 / shown.len() as f64)
    }

    /// How far from `start` outwards most of the places between pairs of lines pass a test.
    fn goes_on(
        &self,
        picture: &Picture,
        bands: &[[Line; 2]],
        start: f64,
        side: f64,
        [blur, most]: [f64; 2],
        test: &dyn Fn([f32; 3]) -> bool,
    ) -> f64 {
        let mut last = 0.0;
        let mut d = blur;
        while d <= most && d - last <= 2.0 * blur {
            let u = start + side * d;
            let (mut passed, mut looked) = (0, 0);
            for [top, bottom] in bands {
                let [from, to] = [top, bottom].map(|l| l.v(u - self.middle()));
                for k in 0..12 {
                    let v = from + (to - from) * (f64::from(k) + 0.5) / 12.0;
                    let [x, y] = self.frame.to_scan([u, v]);
                    looked += 1;
                    passed += usize::from(picture.holds(x, y) && test(picture.sample(x, y)));
                }
            }
            if 4 * passed >= 3 * looked {
                last = d;
            }
            d += 1.0;
        }
        // Steps of one pixel stop short of the whole width.
        if last > most - 1.5 { most } else { last }
    }

    /// The layout in pixels of the scan.
    pub(super) fn layout(
        &self,
        picture: &Picture,
        doubtful: &[[bool; 2]],
        doubts: Vec<Doubt>,
    ) -> Layout {
        let [left, right] = self.borders;
        let stripes = self.stripes();
        let unit = if self.ruler.known {
            self.ruler.per_mm
        } else {
            (right - left) / stripes.len() as f64
        };
        let edge = |line: Line, doubtful| Edge {
            left: line.v(left - self.middle()) / unit,
            right: line.v(right - self.middle()) / unit,
            doubtful,
        };
        let corners = [
            [left, 0.0],
            [right, 0.0],
            [right, self.size[1]],
            [left, self.size[1]],
        ];
        let at = |u: f64| (u - left) / unit;
        let stripe = |&(ground, [from, to]): &(Ground, [f64; 2])| Stripe {
            ground,
            from: at(from),
            to: at(to),
        };
        let films = self.films.films.iter().enumerate().map(|(i, f)| {
            let [top, bottom] = doubtful.get(i).copied().unwrap_or_default();
            FilmBand {
                top: edge(f.top, top),
                bottom: edge(f.bottom, bottom),
                brushed: false,
            }
        });
        Layout {
            corners: corners.map(|p| self.frame.to_scan(p).map(|x| x * picture.scale)),
            size: [(right - left) / unit, self.size[1] / unit],
            millimetres: self.ruler.known,
            stripes: stripes.iter().map(stripe).collect(),
            films: films.collect(),
            doubts,
        }
    }

    /// All stripes from the left border to the right one.
    fn stripes(&self) -> Vec<(Ground, [f64; 2])> {
        let mut stripes = Vec::new();
        let mut at = self.borders[0];
        for black in &self.blacks {
            if black[0] - at > MARGIN {
                stripes.push((Ground::White, [at, black[0]]));
            }
            stripes.push((Ground::Black, *black));
            at = black[1];
        }
        if self.borders[1] - at > MARGIN {
            stripes.push((Ground::White, [at, self.borders[1]]));
        }
        stripes
    }
}

/// Change of colour over white, in encoded numbers, from which on it is plain where a film ends.
const PLAIN: f64 = 0.15;
/// Black stripes further apart than so many of their widths may be two cards'.
const FAR: f64 = 1.6;
/// White narrower than this many pixels is blur, not a stripe.
const MARGIN: f64 = 2.0;

/// Mean of colours; none of none.
pub(super) fn mean(cells: &[[f64; 3]]) -> Option<[f64; 3]> {
    let count = cells.len() as f64;
    (!cells.is_empty())
        .then(|| std::array::from_fn(|c| cells.iter().map(|x| x[c]).sum::<f64>() / count))
}
