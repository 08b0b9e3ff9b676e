//! Films from the bottom up over any number of grounds.

use std::rc::Rc;

use nalgebra::Matrix3;

use super::{Film, Ground, MOST_BUILD, MOST_FILMS, Predicted, ground::lab_by_ground};
use crate::{
    Error, Result,
    colour::{self, Lab},
    film::{
        Response, surface, table,
        transport::{Above, Around, Laid, Layer, Transport},
    },
    fit::uncertainty,
    paint::{ColourSlopes, Constants, Covariance, Seen, verdict},
    spectrum::{self, BANDS, Bands},
};

/// Directions of the transport that joins films: eight are within 0.1 CIEDE2000 of twenty-four at the median.
const DIRECTIONS: usize = 8;
/// Step of the differences in logarithms: far above rounding, well inside where responses are straight.
const STEP: f64 = 0.01;

/// How films answer a ground, band by band: without ranges, and cheap.
#[derive(Debug, Clone, PartialEq)]
pub struct Responses([Response; BANDS]);

/// Films from the bottom up, ready to be laid over any number of grounds: all that costs is done once.
#[derive(Debug, Clone)]
pub struct Stack {
    responses: Responses,
    /// For every film, the slopes of every band's response along log K, log S and anisotropy.
    slopes: Vec<[[Response; 3]; BANDS]>,
    /// For every film, its paint and the covariance of that paint.
    paints: Vec<(usize, Covariance)>,
    /// For every film, the standard deviation of the logarithm of its build.
    build_sd: Vec<f64>,
}

/// One paint at one build, band by band.
type Layers = [Layer<DIRECTIONS>; BANDS];

/// A film as it is, and when asked for with a little more K, more S, another anisotropy.
#[derive(Debug, Clone)]
struct Prepared {
    film: Film,
    here: Rc<Layers>,
    beside: Option<Rc<[Layers; 3]>>,
}

/// Films prepared earlier, so that a change of one film costs that film only. Belongs to one list of paints.
#[derive(Debug, Clone, Default)]
pub struct Kept {
    optics: Vec<(usize, Rc<PaintOptics>)>,
    films: Vec<Prepared>,
    /// Stacks of two and more.
    responses: Vec<(Vec<Film>, Responses)>,
}

/// As many films as three of a picture, in many thicknesses; as many stacks.
const MOST_KEPT: usize = 32;

impl Responses {
    /// The three numbers of every band.
    pub fn bands(&self) -> &[Response; BANDS] {
        &self.0
    }

    /// What is seen of these films over a ground, band by band.
    pub fn seen_over(&self, ground: &Ground) -> Bands {
        std::array::from_fn(|b| self.0[b].over(ground.internal[b]))
    }

    /// The colour of that.
    pub fn lab_over(&self, ground: &Ground) -> Lab {
        colour::lab(spectrum::xyz_of(&self.seen_over(ground)))
    }

    /// L* of the nominal white less L* of the nominal black under these films: what remains visible of a drawing.
    pub fn range_left(&self) -> f64 {
        let l = |reflectance: f64| {
            let ground = surface::to_internal(reflectance);
            let seen: Bands = std::array::from_fn(|b| self.0[b].over(ground));
            colour::lab(spectrum::xyz_of(&seen)).l
        };
        l(verdict::NOMINAL_WHITE) - l(verdict::NOMINAL_BLACK)
    }

    fn bare() -> Self {
        Self(
            [Response {
                a: 0.0,
                b: surface::ENTRY,
                c: surface::INNER,
            }; BANDS],
        )
    }
}

/// The films that are there: one of no build leaves everything as it is.
fn checked(films: &[Film]) -> Result<Vec<Film>> {
    if films.len() > MOST_FILMS {
        return Err(Error::CannotPredict(format!(
            "A stack of more than {MOST_FILMS} films is not predicted."
        )));
    }
    for film in films {
        if !(0.0..=MOST_BUILD).contains(&film.build) {
            return Err(Error::CannotPredict(format!(
                "A film of build {} cannot be predicted: give 0 to {MOST_BUILD} times the card’s reference film.",
                film.build
            )));
        }
    }
    Ok(films.iter().copied().filter(|f| f.build > 0.0).collect())
}

impl Kept {
    /// How films answer any ground, without ranges.
    ///
    /// # Errors
    /// As [`Stack::new`].
    pub fn responses(&mut self, paints: &[&Constants], films: &[Film]) -> Result<Responses> {
        let films = checked(films)?;
        Ok(match films.as_slice() {
            [] => Responses::bare(),
            [one] => {
                let paint = paints[one.paint];
                let table = table::Table::shared();
                Responses(std::array::from_fn(|b| {
                    table.film(
                        paint.absorption[b] * one.build,
                        paint.scattering[b] * one.build,
                        paint.anisotropy,
                    )
                }))
            }
            _ => {
                if let Some((_, known)) = self.responses.iter().find(|(of, _)| *of == films) {
                    return Ok(known.clone());
                }
                let prepared: Vec<Prepared> = films
                    .iter()
                    .map(|film| self.prepared(paints, *film, false))
                    .collect();
                let optics = self.optics(films[0].paint, paints);
                let made = Responses(std::array::from_fn(|band| {
                    let layers: Vec<_> = prepared.iter().map(|p| &p.here[band]).collect();
                    optics.here.stack(&layers)
                }));
                self.keep(films, made)
            }
        })
    }

    fn keep(&mut self, films: Vec<Film>, made: Responses) -> Responses {
        if self.responses.len() >= MOST_KEPT {
            self.responses.remove(0);
        }
        self.responses.push((films, made.clone()));
        made
    }

    /// How films answer light with none to `most` coats of one of them between the others, each coat laid on the one before.
    ///
    /// # Errors
    /// As [`Stack::new`].
    pub fn coats(
        &mut self,
        paints: &[&Constants],
        under: &[Film],
        (coat, most): (Film, u32),
        over: &[Film],
    ) -> Result<Vec<Responses>> {
        let with = |n: u32| {
            let build = coat.build * f64::from(n);
            [under, &[Film { build, ..coat }], over].concat()
        };
        if checked(&with(0))?.is_empty() || coat.build == 0.0 {
            return (0..=most)
                .map(|n| self.responses(paints, &with(n)))
                .collect();
        }
        checked(&with(most))?;
        let mut rows = vec![self.responses(paints, &with(0))?];
        let [under, over] = [under, over].map(|films| {
            let there = films.iter().filter(|film| film.build > 0.0);
            let prepared = there.map(|film| self.prepared(paints, *film, false).here);
            prepared.collect::<Vec<_>>()
        });
        let one = self.prepared(paints, coat, false).here;
        let joining = self.optics(coat.paint, paints);
        let mut laid: [Laid<DIRECTIONS>; BANDS] = std::array::from_fn(|band| {
            let bare = joining.here.bare();
            under
                .iter()
                .fold(bare, |laid, film| laid.under(&film[band]))
        });
        let above: [Above<DIRECTIONS>; BANDS] = std::array::from_fn(|band| {
            let open = joining.here.open();
            over.iter()
                .rev()
                .fold(open, |above, film| above.over(&film[band]))
        });
        for _ in 0..most {
            rows.push(Responses(std::array::from_fn(|band| {
                laid[band] = laid[band].under(&one[band]);
                above[band].seen(&laid[band])
            })));
        }
        Ok(rows)
    }

    /// Films over any ground, with ranges.
    ///
    /// # Errors
    /// As [`Stack::new`].
    pub fn stack(&mut self, paints: &[&Constants], films: &[Film]) -> Result<Stack> {
        let films = checked(films)?;
        let (responses, slopes) = match films.as_slice() {
            [] => (Responses::bare(), Vec::new()),
            [one] => single(paints[one.paint], one.build),
            _ => self.joined(paints, &films),
        };
        Ok(Stack {
            responses,
            slopes,
            paints: films
                .iter()
                .map(|f| (f.paint, paints[f.paint].covariance))
                .collect(),
            build_sd: vec![0.0; films.len()],
        })
    }

    fn joined(
        &mut self,
        paints: &[&Constants],
        films: &[Film],
    ) -> (Responses, Vec<[[Response; 3]; BANDS]>) {
        let prepared: Vec<Prepared> = films
            .iter()
            .map(|film| self.prepared(paints, *film, true))
            .collect();
        // Directions and surface are the same at every anisotropy.
        let joining = self.optics(films[0].paint, paints);
        // Films below the one that changes stay as they are.
        let below: [Vec<Laid<DIRECTIONS>>; BANDS] = std::array::from_fn(|band| {
            let mut laid = vec![joining.here.bare()];
            for (i, film) in prepared.iter().enumerate() {
                laid.push(laid[i].under(&film.here[band]));
            }
            laid
        });
        let responses: [Response; BANDS] =
            std::array::from_fn(|band| joining.here.seen(&below[band][films.len()]));
        // From the uppermost down, with what lies over each.
        let mut above: [Above<DIRECTIONS>; BANDS] = std::array::from_fn(|_| joining.here.open());
        let mut slopes: Vec<[[Response; 3]; BANDS]> = Vec::with_capacity(films.len());
        for (i, film) in prepared.iter().enumerate().rev() {
            let step = self.optics(film.film.paint, paints).step;
            slopes.push(std::array::from_fn(|band| {
                let here = &film.here[band];
                let laid = &below[band];
                let around = Around::new(&laid[i], here, &laid[i + 1], &above[band]);
                above[band] = above[band].over(here);
                std::array::from_fn(|way| match &film.beside {
                    Some(beside) => {
                        let by = if way == 2 { step } else { STEP };
                        around.slope(here, &beside[way][band], by)
                    }
                    None => Response::default(),
                })
            }));
        }
        slopes.reverse();
        let responses = Responses(responses);
        if !self.responses.iter().any(|(of, _)| of == films) {
            self.keep(films.to_vec(), responses.clone());
        }
        (responses, slopes)
    }

    fn optics(&mut self, paint: usize, paints: &[&Constants]) -> Rc<PaintOptics> {
        if let Some((_, found)) = self.optics.iter().find(|(p, _)| *p == paint) {
            return found.clone();
        }
        let made = Rc::new(PaintOptics::of(paints[paint]));
        self.optics.push((paint, made.clone()));
        made
    }

    fn prepared(&mut self, paints: &[&Constants], film: Film, beside: bool) -> Prepared {
        let known = self.films.iter().position(|p| p.film == film);
        let mut prepared = match known {
            Some(at) => self.films.remove(at),
            None => {
                let optics = self.optics(film.paint, paints);
                let paint = paints[film.paint];
                Prepared {
                    film,
                    here: Rc::new(layers(paint, &optics.here, film.build, 1.0)),
                    beside: None,
                }
            }
        };
        if beside && prepared.beside.is_none() {
            let optics = self.optics(film.paint, paints);
            let paint = paints[film.paint];
            let more_k = layers(paint, &optics.here, film.build, libm::exp(STEP));
            // A thicker film is more K and more S: more S alone is what is left of it.
            let more_s = std::array::from_fn(|band| {
                let (k, s) = (paint.absorption[band], paint.scattering[band]);
                let here = &prepared.here[band];
                let thicker = optics.here.thicker((k, s, film.build), here, STEP);
                thicker.without(&more_k[band], here)
            });
            let otherwise = layers(paint, &optics.beside, film.build, 1.0);
            prepared.beside = Some(Rc::new([more_k, more_s, otherwise]));
        }
        // The newest last; the oldest goes.
        if self.films.len() >= MOST_KEPT {
            self.films.remove(0);
        }
        self.films.push(prepared.clone());
        prepared
    }
}

fn layers(paint: &Constants, transport: &Transport<DIRECTIONS>, build: f64, more_k: f64) -> Layers {
    std::array::from_fn(|band| {
        transport.film(
            paint.absorption[band] * more_k,
            paint.scattering[band],
            build,
        )
    })
}

fn single(paint: &Constants, build: f64) -> (Responses, Vec<[[Response; 3]; BANDS]>) {
    let table = table::Table::shared();
    let slopes: [table::Slopes; BANDS] = std::array::from_fn(|band| {
        table.slopes(
            paint.absorption[band] * build,
            paint.scattering[band] * build,
            paint.anisotropy,
        )
    });
    (
        Responses(std::array::from_fn(|b| slopes[b].at)),
        vec![std::array::from_fn(|b| {
            [
                slopes[b].by_absorption,
                slopes[b].by_scattering,
                slopes[b].by_anisotropy,
            ]
        })],
    )
}

impl Stack {
    /// Films of `paints`, from the bottom up.
    ///
    /// # Errors
    /// [`Error::CannotPredict`] for a build outside 0 to [`MOST_BUILD`], or more films than [`MOST_FILMS`].
    pub fn new(paints: &[&Constants], films: &[Film]) -> Result<Self> {
        Kept::default().stack(paints, films)
    }

    /// Takes builds as known only so well: the standard deviations of their logarithms, one for every film of some build.
    pub fn with_build_sd(mut self, sd: &[f64]) -> Self {
        for (known, sd) in self.build_sd.iter_mut().zip(sd) {
            *known = *sd;
        }
        self
    }

    /// The stack over one ground.
    pub fn over(&self, ground: &Ground) -> Predicted {
        self.over_with_spread(ground).0
    }

    /// The colour alone, which is cheap.
    pub fn lab_over(&self, ground: &Ground) -> Lab {
        if self.paints.is_empty() {
            ground.lab
        } else {
            self.responses.lab_over(ground)
        }
    }

    /// The same with the covariance of L*, a*, b* behind the range.
    pub fn over_with_spread(&self, ground: &Ground) -> (Predicted, Matrix3<f64>) {
        if self.paints.is_empty() {
            let bare = Predicted {
                lab: ground.lab,
                range: 0.0,
            };
            return (bare, Matrix3::zeros());
        }
        let (lab, spread) = self.lab_with_spread(ground);
        let range = uncertainty::range(lab, &spread);
        (Predicted { lab, range }, spread)
    }

    fn lab_with_spread(&self, ground: &Ground) -> (Lab, Matrix3<f64>) {
        let responses = &self.responses.0;
        let mut seen = Seen {
            reflectance: std::array::from_fn(|b| responses[b].over(ground.internal[b])),
            by_absorption: [0.0; BANDS],
            by_scattering: [0.0; BANDS],
            by_anisotropy: [0.0; BANDS],
        };
        let (lab, to_lab) = colour::lab_with_slopes(seen.xyz());
        let to_lab = Matrix3::from_fn(|i, j| to_lab[i][j]);
        // Films of one paint move together: their slopes add up before the covariance.
        let mut by_paint: Vec<(usize, &Covariance, ColourSlopes)> = Vec::new();
        let mut of_builds = Matrix3::zeros();
        for (i, ((paint, covariance), film)) in self.paints.iter().zip(&self.slopes).enumerate() {
            for band in 0..BANDS {
                let [by_k, by_s, by_g] =
                    film[band].map(|d| slope_over(&responses[band], &d, ground.internal[band]));
                seen.by_absorption[band] = by_k;
                seen.by_scattering[band] = by_s;
                seen.by_anisotropy[band] = by_g;
            }
            let slopes = to_lab * seen.xyz_slopes();
            // A thicker film is more K and more S.
            let by_build = slopes.columns(0, 2 * BANDS).column_sum() * self.build_sd[i];
            of_builds += by_build * by_build.transpose();
            match by_paint.iter_mut().find(|(p, _, _)| p == paint) {
                Some((_, _, sum)) => *sum += slopes,
                None => by_paint.push((*paint, covariance, slopes)),
            }
        }
        let by_ground = lab_by_ground(&to_lab, |band| {
            let gain = 1.0 / (1.0 - responses[band].c * ground.internal[band]);
            responses[band].b * gain * gain
        });
        let of_ground = by_ground * ground.covariance * by_ground.transpose();
        let spread = by_paint
            .iter()
            .fold(of_ground + of_builds, |sum, (_, c, s)| {
                // In this order the long columns are summed, not the short ones.
                sum + s * (*c * s.transpose())
            });
        (lab, spread)
    }

    /// L* of the nominal white less L* of the nominal black under these films: what remains visible of a drawing.
    pub fn range_left(&self) -> f64 {
        self.responses.range_left()
    }

    /// Glaze, veil or covering, for this stack over this ground.
    pub fn verdict_over(&self, ground: &Ground) -> verdict::Here {
        verdict::here(ground.lab, self.lab_over(ground), self.range_left())
    }
}

/// Slope of `a + b rho / (1 - c rho)` along a change `d` of (a, b, c).
fn slope_over(at: &Response, d: &Response, rho: f64) -> f64 {
    let crossed = rho / (1.0 - at.c * rho);
    d.a + d.b * crossed + d.c * at.b * crossed * crossed
}

/// Transport at a paint's own anisotropy, and a little beside it for the slope.
#[derive(Debug)]
struct PaintOptics {
    here: Transport<DIRECTIONS>,
    beside: Transport<DIRECTIONS>,
    step: f64,
}

impl PaintOptics {
    fn of(paint: &Constants) -> Self {
        // Towards the middle, so that both lie where the fit has been.
        let step = if paint.anisotropy > 0.5 * (table::EVEN + table::MOST_FORWARD) {
            -0.05
        } else {
            0.05
        };
        Self {
            here: Transport::new(paint.anisotropy),
            beside: Transport::new(paint.anisotropy + step),
            step,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn paint(k: f64, s: f64, tilt: f64) -> Constants {
        Constants {
            absorption: std::array::from_fn(|b| k * libm::exp(tilt * (b as f64 / 15.0 - 1.0))),
            scattering: [s; BANDS],
            anisotropy: 0.4,
            covariance: Covariance::identity() * 1e-3,
        }
    }

    fn film(paint: usize, build: f64) -> Film {
        Film { paint, build }
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(24))]

        /// Two films of one paint in optical contact are one film as thick as both; joined by transport on the one side, from
        /// the table on the other.
        #[test]
        fn two_films_of_one_paint_are_one(
            k in 0.02_f64..1.5, s in 0.005_f64..1.0, first in 0.1_f64..1.5, second in 0.1_f64..1.5,
            l in 20.0_f64..90.0, a in -30.0_f64..30.0,
        ) {
            let paint = paint(k, s, 1.0);
            let ground = Ground::of(Lab::new(l, a, 10.0));
            let two = Stack::new(&[&paint], &[film(0, first), film(0, second)]).unwrap();
            let one = Stack::new(&[&paint], &[film(0, first + second)]).unwrap();
            let (two, one) = (two.over(&ground), one.over(&ground));
            prop_assert!(colour::difference(two.lab, one.lab) < 0.6, "{two:?} {one:?}");
            // Films of one paint err together.
            prop_assert!((two.range / one.range - 1.0).abs() < 0.15, "{two:?} {one:?}");
        }

        /// What is kept from another stack changes nothing; nor do films of no build.
        #[test]
        fn what_is_kept_changes_nothing(builds in prop::collection::vec(0.05_f64..2.0, 3), l in 20.0_f64..90.0) {
            let paints = [paint(0.8, 0.02, 1.5), paint(0.3, 0.05, -1.5), paint(0.01, 0.6, 0.0)];
            let paints: Vec<&Constants> = paints.iter().collect();
            let ground = Ground::of(Lab::new(l, 5.0, 5.0));
            let films: Vec<Film> = builds.iter().enumerate().map(|(i, &b)| film(i, b)).collect();
            let mut kept = Kept::default();
            let mut other = films.clone();
            other.swap(0, 2);
            other[1].build *= 1.1;
            kept.stack(&paints, &other).unwrap();
            kept.responses(&paints, &films).unwrap();
            let mut with_none = films.clone();
            with_none.insert(1, film(0, 0.0));
            let again = kept.stack(&paints, &with_none).unwrap().over(&ground);
            prop_assert_eq!(again, Stack::new(&paints, &films).unwrap().over(&ground));
        }

        /// Coats laid one on the other are as many coats in one film, to what the eye and the numbers shown cannot tell.
        #[test]
        fn coats_are_films_as_thick(build in 0.02_f64..2.0, l in 20.0_f64..90.0, place in 0_usize..3) {
            let paints = [paint(0.8, 0.02, 1.5), paint(0.3, 0.05, -1.5), paint(0.01, 0.6, 0.0)];
            let paints: Vec<&Constants> = paints.iter().collect();
            let ground = Ground::of(Lab::new(l, 5.0, 5.0));
            let all = [film(0, 0.4), film(1, 0.7), film(2, build)];
            let (under, over) = all.split_at(place);
            let coat = film(0, build);
            let rows = Kept::default().coats(&paints, under, (coat, 8), over).unwrap();
            prop_assert_eq!(rows.len(), 9);
            for (n, row) in rows.iter().enumerate() {
                let mut films = all.to_vec();
                films.insert(place, film(0, build * n as f64));
                let whole = Stack::new(&paints, &films).unwrap().lab_over(&ground);
                let apart = colour::difference(row.lab_over(&ground), whole);
                prop_assert!(apart < 0.01, "{n} coats: {apart}");
            }
        }

        /// A pure absorber never lightens, whatever lies on or under it; less and less of a film ends at the ground.
        #[test]
        fn absorbers_darken_and_no_film_is_the_ground(k in 0.05_f64..2.0, l in 20.0_f64..95.0, build in 0.1_f64..2.0) {
            let (clear, veil) = (paint(k, 1e-4, 1.0), paint(0.02, 0.5, 0.0));
            let ground = Ground::of(Lab::new(l, 0.0, 0.0));
            let veiled = Stack::new(&[&clear, &veil], &[film(1, 0.4)]).unwrap().over(&ground);
            for films in [[film(0, build), film(1, 0.4)], [film(1, 0.4), film(0, build)]] {
                let seen = Stack::new(&[&clear, &veil], &films).unwrap().over(&ground);
                prop_assert!(seen.lab.l < veiled.lab.l + 0.1, "{seen:?} {veiled:?}");
            }
            let hardly = Stack::new(&[&clear, &veil], &[film(1, 1e-5), film(0, 1e-5)]).unwrap();
            prop_assert!(colour::difference(hardly.over(&ground).lab, ground.lab) < 0.3);
        }

        /// A build that is not well known widens the range, and by more the less it is known.
        #[test]
        fn an_uncertain_build_widens(k in 0.1_f64..1.0, l in 30.0_f64..90.0) {
            let paint = paint(k, 0.1, 1.0);
            let ground = Ground::of(Lab::new(l, 0.0, 0.0));
            let range = |sd: f64| {
                let stack = Stack::new(&[&paint], &[film(0, 0.5)]).unwrap();
                stack.with_build_sd(&[sd]).over(&ground).range
            };
            prop_assert!(range(0.0) <= range(0.1) && range(0.1) < range(0.4));
        }
    }
}
