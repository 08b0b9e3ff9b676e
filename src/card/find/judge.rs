//! What a reading of a group of bars is worth, which readings stay, and what has to be asked.

use super::{
    Ruler,
    bars::{Bar, quarter},
    films::{self, Films, Line, Squared},
    picture::Picture,
    segments::Segment,
    stripes::Stripes,
};
use crate::card::{Doubt, Edge, FilmBand, Ground, Layout, Stripe, rectify::Frame};

/// One reading of one group of bars as a card.
pub(super) struct Candidate {
    pub(super) stripes: Stripes,
    pub(super) frame: Frame,
    pub(super) size: [f64; 2],
    pub(super) blacks: Vec<[f64; 2]>,
    pub(super) films: Films,
    pub(super) ruler: Ruler,
    pub(super) score: f64,
    /// Score of the best reading with another direction that lies over this one.
    pub(super) rival: f64,
}

impl Candidate {
    pub(super) fn of(
        picture: &Picture,
        ruler: &Ruler,
        segments: &[Segment],
        group: &[Bar],
        wish: Option<usize>,
    ) -> Option<Self> {
        let width = group.iter().map(|b| b.width * b.length).sum::<f64>()
            / group.iter().map(|b| b.length).sum::<f64>();
        let ruler = ruler.for_stripes(width);
        let stripes = Stripes::fit(picture, &ruler, group)?;
        let (left, right) = (
            stripes.blacks[0][0],
            stripes.blacks[stripes.blacks.len() - 1][1],
        );
        let corners = stripes.corners(left, right);
        let side = |a: [f64; 2], b: [f64; 2]| libm::hypot(b[0] - a[0], b[1] - a[1]);
        let size = [
            (side(corners[0], corners[1]) + side(corners[3], corners[2])) / 2.0,
            (side(corners[0], corners[3]) + side(corners[1], corners[2])) / 2.0,
        ];
        let frame = Frame::new(&corners, size)?;
        let middle =
            (stripes.end(0, (left + right) / 2.0) + stripes.end(1, (left + right) / 2.0)) / 2.0;
        let blacks: Vec<[f64; 2]> = stripes
            .blacks
            .iter()
            .map(|b| {
                b.map(|u| {
                    let p = stripes.place(u, middle);
                    frame.to_card([p.x, p.y])[0]
                })
            })
            .collect();
        let squared = Squared {
            picture,
            frame: &frame,
            size,
            blacks: &blacks,
            per_mm: ruler.per_mm,
        };
        let films = films::films(&squared, wish);
        let mut candidate = Self {
            stripes,
            frame,
            size,
            blacks,
            films,
            ruler,
            score: 0.0,
            rival: 0.0,
        };
        candidate.score = candidate.worth(segments);
        if std::env::var("TG_DEBUG").is_ok() {
            // DEBUG
            eprintln!(
                "cand score {:.1} blacks {} films {} seen {:.0} rough {:.3} reg {:.2} phys {:.3} expl {:.0} even {:.3} worth {:?} size {:.0?} group {} corners {:.0?} slope {:?}",
                candidate.score,
                candidate.blacks.len(),
                candidate.films.films.len(),
                candidate.stripes.seen / candidate.ruler.per_mm,
                candidate.stripes.roughness / candidate.ruler.per_mm,
                candidate.regularity(),
                candidate.physics(),
                candidate.explained(segments),
                candidate.evenness(),
                candidate
                    .films
                    .worth
                    .iter()
                    .map(|w| w.round())
                    .collect::<Vec<_>>(),
                candidate.size.map(|s| s / candidate.ruler.per_mm),
                group.len(),
                corners,
                candidate.stripes.slope
            ); // DEBUG
        } // DEBUG
        Some(candidate)
    }

    /// How much of what is seen this reading explains, and how far it behaves as paint on stripes does.
    fn worth(&self, segments: &[Segment]) -> f64 {
        let with_films = if self.films.films.is_empty() {
            0.25
        } else {
            1.0
        };
        self.explained(segments)
            * with_films
            * self.straightness()
            * self.regularity()
            * self.evenness()
            * self.physics()
    }

    fn straightness(&self) -> f64 {
        bell(self.stripes.roughness / self.ruler.per_mm / 0.25)
    }

    /// Length of strong edges in the card that are its stripes', films' or ends' (mm), times their share of all there.
    fn explained(&self, segments: &[Segment]) -> f64 {
        let mm = self.ruler.per_mm;
        let middle = (self.blacks[0][0] + self.blacks[self.blacks.len() - 1][1]) / 2.0;
        let ends = [
            Line {
                at: 0.0,
                slope: 0.0,
            },
            Line {
                at: self.size[1],
                slope: 0.0,
            },
        ];
        let lines: Vec<Line> = self
            .films
            .films
            .iter()
            .flat_map(|f| [f.top, f.bottom])
            .chain(ends)
            .collect();
        let (mut known, mut unknown) = (0.0, 0.0);
        for segment in segments {
            let [p, q] = [-segment.half, segment.half].map(|t| {
                let p = segment.centre + quarter(segment.normal) * t;
                self.frame.to_card([p.x, p.y])
            });
            let inside =
                |p: [f64; 2]| (0..2).all(|k| p[k] > -1.5 * mm && p[k] < self.size[k] + 1.5 * mm);
            if !inside(p) || !inside(q) {
                continue;
            }
            let near = |d: f64| d.abs() < 1.2 * mm;
            let stripe = self
                .blacks
                .iter()
                .flatten()
                .any(|u| near(p[0] - u) && near(q[0] - u));
            let off = |l: &Line, p: [f64; 2]| p[1] - l.at - l.slope * (p[0] - middle);
            let film = lines.iter().any(|l| near(off(l, p)) && near(off(l, q)));
            *(if stripe || film {
                &mut known
            } else {
                &mut unknown
            }) += 2.0 * segment.half / mm;
        }
        known * known / (known + unknown).max(1e-9)
    }

    /// How alike the black stripes are in width.
    fn regularity(&self) -> f64 {
        let n = self.blacks.len() as f64;
        if self.blacks.len() == 1 {
            return 0.6;
        }
        let widths = || self.blacks.iter().map(|b| b[1] - b[0]);
        let mean = widths().sum::<f64>() / n;
        let spread = libm::sqrt(widths().map(|w| (w - mean) * (w - mean)).sum::<f64>() / n);
        bell(spread / mean / 0.12)
    }

    /// Whether bare black and bare white are the same everywhere, and black is a neutral black.
    fn evenness(&self) -> f64 {
        let mm = self.ruler.per_mm;
        let contrast = f64::from(self.stripes.levels.contrast());
        let mut edges = vec![mm];
        edges.extend(
            self.films
                .films
                .iter()
                .flat_map(|f| [f.top.at - mm, f.bottom.at + mm]),
        );
        edges.push(self.size[1] - mm);
        let mut factor = 1.0;
        for ground in [Ground::Black, Ground::White] {
            let mut cells: Vec<[f64; 3]> = Vec::new();
            for gap in edges.chunks_exact(2) {
                cells.extend(self.films.cells(ground, gap[0], gap[1]));
            }
            if cells.is_empty() {
                return 0.1;
            }
            let count = cells.len() as f64;
            let mean: [f64; 3] =
                std::array::from_fn(|c| cells.iter().map(|x| x[c]).sum::<f64>() / count);
            let variance = |c: usize| {
                cells
                    .iter()
                    .map(|x| (x[c] - mean[c]) * (x[c] - mean[c]))
                    .sum::<f64>()
                    / count
            };
            let spread = libm::sqrt(variance(0).max(variance(1)).max(variance(2)));
            factor *= bell(spread / contrast / 0.08);
            if ground == Ground::Black {
                let [r, g, b] = mean;
                factor *= bell((r.max(g).max(b) - r.min(g).min(b)) / contrast / 0.2);
            }
        }
        factor
    }

    /// How far the films behave as paint does.
    fn physics(&self) -> f64 {
        let contrast = f64::from(self.stripes.levels.contrast());
        let mm = self.ruler.per_mm;
        let mut factor = 1.0;
        let mut printed = 0.0;
        for film in &self.films.films {
            let (from, to) = (film.top.at + 1.5 * mm, film.bottom.at - 1.5 * mm);
            let [Some(white), Some(black)] =
                [Ground::White, Ground::Black].map(|g| mean(&self.films.cells(g, from, to)))
            else {
                continue;
            };
            let over_black = film.step[3..].iter().fold(0.0, |a: f64, s| a.max(s.abs()));
            let over_white = film.step[..3].iter().fold(0.0, |a: f64, s| a.max(s.abs()));
            // Black turned exactly to card white while white did not move: a print's own gap, not paint.
            if over_black > 0.8 * contrast && over_white < 0.015 {
                printed += 1.0;
            }
            // A darker ground never gives a lighter film.
            let lighter = (0..3).map(|c| black[c] - white[c]).sum::<f64>() / 3.0;
            factor *= bell((lighter - 0.01).max(0.0) / contrast / 0.05);
        }
        factor * (1.0 - 0.75 * printed / self.films.films.len().max(1) as f64)
    }

    /// Share of this card's area that lies on the other one.
    fn overlap(&self, other: &Self) -> f64 {
        let inside = |i: usize, j: usize| {
            let at = |k: usize, s: f64| (k as f64 + 0.5) / 12.0 * s;
            let p = other.frame.to_card(
                self.frame
                    .to_scan([at(i, self.size[0]), at(j, self.size[1])]),
            );
            p[0] >= 0.0 && p[1] >= 0.0 && p[0] <= other.size[0] && p[1] <= other.size[1]
        };
        (0..144).filter(|k| inside(k % 12, k / 12)).count() as f64 / 144.0
    }

    /// The layout in the scan's own pixels.
    pub(super) fn layout(&self, picture: &Picture) -> Layout {
        let gap = self.stripes.gap();
        let last = self.blacks[self.blacks.len() - 1][1];
        let (left, right) = (self.blacks[0][0], last);
        let mut stripes: Vec<[f64; 3]> = Vec::new();
        for (i, b) in self.blacks.iter().enumerate() {
            if i > 0 {
                stripes.push([self.blacks[i - 1][1], b[0], 1.0]);
            }
            stripes.push([b[0], b[1], 0.0]);
        }
        let _ = gap;
        let unit = if self.ruler.known {
            self.ruler.per_mm
        } else {
            (right - left) / stripes.len() as f64
        };
        let corners = [
            [left, 0.0],
            [right, 0.0],
            [right, self.size[1]],
            [left, self.size[1]],
        ];
        let middle = (self.blacks[0][0] + last) / 2.0;
        let edge = |line: films::Line, doubtful| Edge {
            left: (line.at + line.slope * (left - middle)) / unit,
            right: (line.at + line.slope * (right - middle)) / unit,
            doubtful,
        };
        Layout {
            corners: corners.map(|p| self.frame.to_scan(p).map(|x| x * picture.scale)),
            size: [(right - left) / unit, self.size[1] / unit],
            millimetres: self.ruler.known,
            stripes: stripes
                .iter()
                .map(|s| Stripe {
                    ground: if s[2] > 0.5 {
                        Ground::White
                    } else {
                        Ground::Black
                    },
                    from: (s[0] - left) / unit,
                    to: (s[1] - left) / unit,
                })
                .collect(),
            films: self
                .films
                .films
                .iter()
                .map(|f| FilmBand {
                    top: edge(f.top, f.strength[0] < 12.0),
                    bottom: edge(f.bottom, f.strength[1] < 12.0),
                })
                .collect(),
            doubts: Vec::<Doubt>::new(),
        }
    }
}

/// Of readings that lie over each other, keeps the best. Readings without films only count if there are none with.
pub(super) fn choose(mut candidates: Vec<Candidate>) -> Vec<Candidate> {
    candidates.sort_by(|a, b| b.score.total_cmp(&a.score));
    let mut kept: Vec<Candidate> = Vec::new();
    for candidate in candidates {
        let over = kept
            .iter_mut()
            .find(|k| k.overlap(&candidate).max(candidate.overlap(k)) > 0.15);
        match over {
            Some(k) => k.rival = k.rival.max(candidate.score),
            None => kept.push(candidate),
        }
    }
    if kept.iter().any(|c| !c.films.films.is_empty()) {
        kept.retain(|c| !c.films.films.is_empty());
    } else {
        kept.truncate(1);
    }
    kept
}

/// 1 at 0, a half at 1, falling with the square beyond.
fn bell(x: f64) -> f64 {
    1.0 / (1.0 + x * x)
}

fn mean(cells: &[[f64; 3]]) -> Option<[f64; 3]> {
    let count = cells.len() as f64;
    (!cells.is_empty())
        .then(|| std::array::from_fn(|c| cells.iter().map(|x| x[c]).sum::<f64>() / count))
}
