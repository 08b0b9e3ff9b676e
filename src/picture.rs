//! Predictions: films of kept paints over any underpainting, with their range.
//!
//! A single film goes through the table that its constants were fitted with. Several films are joined by exact transport
//! ([`crate::film::transport`]), since light that turns between two films does not stay diffuse.

use nalgebra::{Matrix3, SMatrix};

use crate::{
    Error, Result,
    colour::{self, Lab, Xyz},
    film::{
        Response, surface, table,
        transport::{Layer, Transport},
    },
    fit::uncertainty,
    paint::{ColourSlopes, Constants, Covariance, Record, Seen, verdict},
    spectrum::{self, BANDS, BandCovariance, Bands},
};

/// A predicted colour.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Predicted {
    /// The colour, D50, 45:0, gloss excluded.
    pub lab: Lab,
    /// Nine times in ten the painted film lies within this CIEDE2000, as far as model and card tell.
    pub range: f64,
}

/// A ground that films lie on.
#[derive(Debug, Clone, PartialEq)]
pub struct Ground {
    /// Its colour as seen, before any film.
    pub lab: Lab,
    /// Its internal reflectance on the bands.
    pub internal: Bands,
    /// How well that is known: its covariance.
    pub covariance: BandCovariance,
}

impl Ground {
    /// The ground behind one colour: the most usual spectrum that has it.
    pub fn of(lab: Lab) -> Self {
        Self::of_xyz(colour::xyz(lab))
    }

    /// The same from XYZ.
    pub fn of_xyz(xyz: Xyz) -> Self {
        let spectrum::Usual {
            reflectance,
            covariance,
        } = spectrum::usual(xyz);
        let slope = reflectance.map(surface::to_internal_slope);
        Self {
            lab: colour::lab(xyz),
            internal: reflectance.map(surface::to_internal),
            covariance: BandCovariance::from_fn(|i, j| slope[i] * slope[j] * covariance[(i, j)]),
        }
    }
}

/// A film to be laid: which paint and how thick.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Film {
    /// Index of its paint.
    pub paint: usize,
    /// Build in units of that paint's reference film.
    pub build: f64,
}

/// Directions of the transport that joins films: eight are within 0.1 CIEDE2000 of twenty-four at the median.
const STACK_DIRECTIONS: usize = 8;
/// Largest build that is predicted, in units of the reference film.
pub const MOST_BUILD: f64 = 100.0;
/// Most films of a stack.
pub const MOST_FILMS: usize = 20;

/// Films from the bottom up, ready to be laid over any number of grounds: all that costs is done once.
#[derive(Debug, Clone)]
pub struct Stack {
    bands: Vec<BandStack>,
    /// For every film, the covariance of its paint and whether an earlier film has the same paint.
    paints: Vec<(usize, Covariance)>,
    films: Vec<Film>,
}

/// One band's response, and its slopes along log K, log S and anisotropy of every film.
#[derive(Debug, Clone)]
struct BandStack {
    response: Response,
    slopes: Vec<[Response; 3]>,
}

impl Stack {
    /// Films of `paints`, from the bottom up.
    ///
    /// # Errors
    /// [`Error::CannotPredict`] for a build outside 0 to [`MOST_BUILD`], or more films than [`MOST_FILMS`].
    pub fn new(paints: &[&Constants], films: &[Film]) -> Result<Self> {
        if films.len() > MOST_FILMS {
            return Err(Error::CannotPredict(format!(
                "A stack of more than {MOST_FILMS} films is not predicted."
            )));
        }
        for film in films {
            if !(0.0..=MOST_BUILD).contains(&film.build) {
                return Err(Error::CannotPredict(format!(
                    "A film of build {} cannot be predicted: give 0 to {MOST_BUILD} times the card's reference film.",
                    film.build
                )));
            }
        }
        // A film of no build leaves everything as it is.
        let films: Vec<Film> = films.iter().copied().filter(|f| f.build > 0.0).collect();
        let bands = match films.as_slice() {
            [] => (0..BANDS).map(|_| BandStack::bare()).collect(),
            [one] => (0..BANDS)
                .map(|band| BandStack::single(paints[one.paint], one.build, band))
                .collect(),
            _ => {
                let optics: Vec<PaintOptics> = paints.iter().map(|p| PaintOptics::of(p)).collect();
                (0..BANDS)
                    .map(|band| BandStack::joined(&optics, paints, &films, band))
                    .collect()
            }
        };
        Ok(Self {
            bands,
            paints: films
                .iter()
                .map(|f| (f.paint, paints[f.paint].covariance))
                .collect(),
            films,
        })
    }

    /// The stack over one ground.
    pub fn over(&self, ground: &Ground) -> Predicted {
        if self.films.is_empty() {
            return Predicted {
                lab: ground.lab,
                range: 0.0,
            };
        }
        let (lab, spread) = self.lab_with_spread(ground);
        Predicted {
            lab,
            range: uncertainty::range(lab, &spread),
        }
    }

    fn lab_with_spread(&self, ground: &Ground) -> (Lab, Matrix3<f64>) {
        let covariance_of_ground = &ground.covariance;
        let ground = &ground.internal;
        let mut seen = Seen {
            reflectance: [0.0; BANDS],
            by_absorption: [0.0; BANDS],
            by_scattering: [0.0; BANDS],
            by_anisotropy: [0.0; BANDS],
        };
        for (band, stack) in self.bands.iter().enumerate() {
            seen.reflectance[band] = stack.response.over(ground[band]);
        }
        let (lab, to_lab) = colour::lab_with_slopes(seen.xyz());
        let to_lab = Matrix3::from_fn(|i, j| to_lab[i][j]);
        // Films of one paint move together: their slopes add up before the covariance.
        let mut by_paint: Vec<(usize, Covariance, ColourSlopes)> = Vec::new();
        for (film, (paint, covariance)) in self.paints.iter().enumerate() {
            for (band, stack) in self.bands.iter().enumerate() {
                let [by_k, by_s, by_g] =
                    stack.slopes[film].map(|d| slope_over(&stack.response, &d, ground[band]));
                seen.by_absorption[band] = by_k;
                seen.by_scattering[band] = by_s;
                seen.by_anisotropy[band] = by_g;
            }
            let slopes = to_lab * seen.xyz_slopes();
            match by_paint.iter_mut().find(|(p, _, _)| p == paint) {
                Some((_, _, sum)) => *sum += slopes,
                None => by_paint.push((*paint, *covariance, slopes)),
            }
        }
        let rows = spectrum::to_xyz_rows();
        let by_ground = to_lab
            * SMatrix::<f64, 3, BANDS>::from_fn(|axis, band| {
                let response = &self.bands[band].response;
                let gain = 1.0 / (1.0 - response.c * ground[band]);
                rows[axis][band] * response.b * gain * gain
            });
        let of_ground = by_ground * covariance_of_ground * by_ground.transpose();
        let spread = by_paint
            .iter()
            .fold(of_ground, |sum, (_, c, s)| sum + s * c * s.transpose());
        (lab, spread)
    }

    /// L* of the nominal white less L* of the nominal black under these films: what remains visible of a drawing.
    pub fn range_left(&self) -> f64 {
        let l = |reflectance: f64| {
            let ground = [surface::to_internal(reflectance); BANDS];
            let seen: Bands = std::array::from_fn(|b| self.bands[b].response.over(ground[b]));
            colour::lab(spectrum::xyz_of(&seen)).l
        };
        l(verdict::NOMINAL_WHITE) - l(verdict::NOMINAL_BLACK)
    }

    /// Glaze, veil or covering, for this stack over this ground.
    pub fn verdict_over(&self, ground: &Ground) -> verdict::Here {
        verdict::here(ground.lab, self.over(ground).lab, self.range_left())
    }
}

/// Slope of `a + b rho / (1 - c rho)` along a change `d` of (a, b, c).
fn slope_over(at: &Response, d: &Response, rho: f64) -> f64 {
    let crossed = rho / (1.0 - at.c * rho);
    d.a + d.b * crossed + d.c * at.b * crossed * crossed
}

impl BandStack {
    fn bare() -> Self {
        Self {
            response: Response {
                a: 0.0,
                b: surface::ENTRY,
                c: surface::INNER,
            },
            slopes: Vec::new(),
        }
    }

    fn single(paint: &Constants, build: f64, band: usize) -> Self {
        let slopes = table::Table::shared().slopes(
            paint.absorption[band] * build,
            paint.scattering[band] * build,
            paint.anisotropy,
        );
        Self {
            response: slopes.at,
            slopes: vec![[
                slopes.by_absorption,
                slopes.by_scattering,
                slopes.by_anisotropy,
            ]],
        }
    }

    fn joined(optics: &[PaintOptics], paints: &[&Constants], films: &[Film], band: usize) -> Self {
        /// Step of the differences in logarithms: far above rounding, well inside where responses are straight.
        const H: f64 = 0.01;
        let layer = |film: &Film, transport: &Transport<STACK_DIRECTIONS>, k: f64, s: f64| {
            let paint = paints[film.paint];
            let (absorption, scattering) = (paint.absorption[band], paint.scattering[band]);
            transport.film(absorption * k, scattering * s, film.build)
        };
        let layers: Vec<_> = films
            .iter()
            .map(|f| layer(f, &optics[f.paint].here, 1.0, 1.0))
            .collect();
        // Directions and surface are the same at every anisotropy.
        let joining = &optics[films[0].paint].here;
        let respond = |changed: Option<(usize, &Layer<STACK_DIRECTIONS>)>| {
            let all: Vec<_> = layers
                .iter()
                .enumerate()
                .map(|(i, l)| {
                    changed
                        .filter(|(at, _)| *at == i)
                        .map_or(l, |(_, other)| other)
                })
                .collect();
            joining.stack(&all)
        };
        let response = respond(None);
        let slopes = films
            .iter()
            .enumerate()
            .map(|(i, film)| {
                let slope = |changed: Layer<STACK_DIRECTIONS>, by: f64| {
                    let up = respond(Some((i, &changed)));
                    Response {
                        a: (up.a - response.a) / by,
                        b: (up.b - response.b) / by,
                        c: (up.c - response.c) / by,
                    }
                };
                let PaintOptics { here, beside, step } = &optics[film.paint];
                let more = libm::exp(H);
                [
                    slope(layer(film, here, more, 1.0), H),
                    slope(layer(film, here, 1.0, more), H),
                    slope(layer(film, beside, 1.0, 1.0), *step),
                ]
            })
            .collect();
        Self { response, slopes }
    }
}

/// Transport at a paint's own anisotropy, and a little beside it for the slope.
struct PaintOptics {
    here: Transport<STACK_DIRECTIONS>,
    beside: Transport<STACK_DIRECTIONS>,
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

/// One film of a kept paint over one ground.
///
/// # Errors
/// As [`Stack::new`].
pub fn film_over(paint: &Constants, build: f64, ground: &Ground) -> Result<Predicted> {
    Ok(Stack::new(&[paint], &[Film { paint: 0, build }])?.over(ground))
}

/// A prediction in the form that the command prints.
#[derive(Debug, Clone, PartialEq)]
pub struct Answer {
    /// Colour and range.
    pub predicted: Predicted,
    /// Glaze, veil or covering here.
    pub verdict: verdict::Here,
    /// What the painter should know of this prediction.
    pub notes: Vec<String>,
}

/// Films of records, from the bottom up, over one colour.
///
/// # Errors
/// [`Error::CannotPredict`] where a record has no constants or a build is out of reach.
pub fn answer(records: &[&Record], builds: &[f64], over: Lab) -> Result<Answer> {
    let constants = records
        .iter()
        .map(|r| r.constants())
        .collect::<Result<Vec<_>>>()?;
    // A pigment given twice is one paint.
    let first_like = |i: usize| (0..=i).find(|&j| constants[j] == constants[i]).unwrap_or(i);
    let films: Vec<Film> = builds
        .iter()
        .enumerate()
        .map(|(i, &build)| Film {
            paint: first_like(i),
            build,
        })
        .collect();
    let paints: Vec<&Constants> = constants.iter().collect();
    let stack = Stack::new(&paints, &films)?;
    let ground = Ground::of(over);
    Ok(Answer {
        predicted: stack.over(&ground),
        verdict: stack.verdict_over(&ground),
        notes: notes(records, builds),
    })
}

fn notes(records: &[&Record], builds: &[f64]) -> Vec<String> {
    let mut notes = Vec::new();
    for (record, &build) in records.iter().zip(builds) {
        let name = record.paint.name_or_unnamed();
        let thinnest = record
            .films
            .iter()
            .map(|film| film.build)
            .fold(f64::INFINITY, f64::min);
        let all = [
            verdict::state_words(record.state),
            verdict::guess_words(record.state, build, thinnest),
            verdict::surface_words(record.surface, record.reads_dull()),
        ];
        for words in all.into_iter().filter(|words| !words.is_empty()) {
            notes.push(format!("{name}: {words}"));
        }
        if build > 1.5 * record.thickest() {
            notes.push(format!(
                "{name}: thicker than any film on its card; the range is a guess beyond it."
            ));
        }
        if record.dry.0 == "no" {
            notes.push(format!(
                "{name}: its card was not dry when scanned. Scan again when it is."
            ));
        }
        if !record.stripes.sealed {
            notes.push(format!(
                "{name}: its card was not sealed, so the range is wider."
            ));
        }
    }
    notes
}
