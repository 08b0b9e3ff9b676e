//! Stacks of two and three films with their exact colours, and the cards of their paints.
//!
//! One set comes from another program (`tests/data/sets/README.md`), with even scattering. The others are made here for
//! paints that scatter forward, through this crate's own transport at three times the directions that the product uses.
#![allow(
    unreachable_pub,
    missing_docs,
    dead_code,
    reason = "shared by test programs that use different parts"
)]

use twoground::{
    colour::{self, Lab, Xyz},
    film::{
        surface,
        transport::{Layer, Transport},
    },
    fit::{self, Optics},
    paint::{Constants, Covariance},
    picture::{Film, Ground, Stack},
    simulate::{paints, random::Random},
    spectrum::{self, BANDS, Bands},
};

use crate::{
    score::{self, Class, Tally},
    sets::{self, DRAWS, Set, SetPaint},
    simple_ways,
};

/// Directions of the exact transport.
const EXACT: usize = 24;
/// Builds of the films on an invented card.
const CARD: [f64; 3] = [0.46, 1.0, 2.3];

/// A paint of a stack.
pub struct StackPaint {
    pub name: String,
    pub absorption: Bands,
    pub scattering: Bands,
    pub anisotropy: f64,
    /// XYZ by film and stripe without noise.
    pub exact: Vec<[Xyz; 2]>,
}

impl StackPaint {
    /// Its true constants, known for certain.
    pub fn constants(&self) -> Constants {
        Constants {
            absorption: self.absorption,
            scattering: self.scattering,
            anisotropy: self.anisotropy,
            covariance: Covariance::zeros(),
        }
    }

    pub fn class(&self) -> Class {
        Class::of(&self.absorption, &self.scattering)
    }
}

/// Films from the bottom up and their exact colour over every ground.
pub struct StackRow {
    /// Paint (index) and build.
    pub films: Vec<(usize, f64)>,
    pub labs: Vec<Lab>,
}

/// Stacks over grounds.
pub struct StackSet {
    pub name: &'static str,
    pub white: Xyz,
    pub black: Xyz,
    /// Reflectance spectra.
    pub grounds: Vec<Bands>,
    pub paints: Vec<StackPaint>,
    pub rows: Vec<StackRow>,
}

/// Twenty stacks of paints that scatter evenly, from another program.
pub fn stored() -> StackSet {
    let d = sets::json("stacks");
    let (first, second) = (Set::load("cards"), Set::load("second"));
    let paints: Vec<StackPaint> = d["paints"]
        .as_object()
        .expect("paints by name")
        .iter()
        .map(|(name, p)| {
            let same = |paint: &&SetPaint| paint.name == *name;
            let card = first.paints.iter().chain(&second.paints).find(same);
            StackPaint {
                name: name.clone(),
                absorption: sets::bands(&p["k"]),
                scattering: sets::bands(&p["s"]),
                anisotropy: 0.0,
                exact: card.expect("a paint of a card").exact.clone(),
            }
        })
        .collect();
    let place = |name: &str| {
        paints
            .iter()
            .position(|p| p.name == name)
            .expect("a known paint")
    };
    let rows = sets::list(&d["stacks"])
        .iter()
        .map(|row| StackRow {
            films: sets::list(&row["bottom_up"])
                .iter()
                .zip(sets::numbers(&row["builds"]))
                .map(|(name, build)| (place(name.as_str().expect("a name")), build))
                .collect(),
            labs: sets::list(&row["lab"]).iter().map(sets::lab).collect(),
        })
        .collect();
    StackSet {
        name: "even (0), another program's",
        white: first.white,
        black: first.black,
        grounds: grounds(),
        paints,
        rows,
    }
}

/// Spectra of the grounds of the stored stacks: chart colours and greys.
fn grounds() -> Vec<Bands> {
    sets::list(&sets::json("stacks")["grounds"])
        .iter()
        .map(sets::bands)
        .collect()
}

/// The stripes of the development sets: a white that falls below 420 nm, an even black.
pub fn stripes() -> [Bands; 2] {
    let white = spectrum::wavelengths()
        .map(|nm| 0.84 * (1.0 - 0.25 / (1.0 + libm::exp((nm - 410.0) / 6.0))));
    [white, [0.035; BANDS]]
}

/// Anisotropies of the invented stacks.
pub const ANISOTROPIES: [f64; 4] = [0.0, 0.3, 0.6, 0.8];

/// Cells of a card of one paint at its anisotropy, by exact transport.
pub fn exact_cells(
    absorption: &Bands,
    scattering: &Bands,
    anisotropy: f64,
    builds: &[f64],
) -> Vec<[Xyz; 2]> {
    let transport = Transport::<EXACT>::new(anisotropy);
    builds
        .iter()
        .map(|&build| {
            let films: Vec<_> = (0..BANDS)
                .map(|b| transport.stack(&[&transport.film(absorption[b], scattering[b], build)]))
                .collect();
            stripes().map(|stripe| {
                let seen: Bands =
                    std::array::from_fn(|b| films[b].over(surface::to_internal(stripe[b])));
                spectrum::xyz_of(&seen)
            })
        })
        .collect()
}

/// Every invented paint, each at one of [`ANISOTROPIES`], and `each` stacks of paints that are alike in that, then as many
/// of paints that are not.
pub fn invented(each: usize) -> Vec<StackSet> {
    let all: Vec<(paints::InventedPaint, f64)> = paints::all()
        .into_iter()
        .enumerate()
        .map(|(i, paint)| (paint, ANISOTROPIES[i % ANISOTROPIES.len()]))
        .collect();
    let names = ["even (0)", "0.3", "0.6", "forward (0.8)", "mixed"];
    names
        .into_iter()
        .enumerate()
        .map(|(which, name)| {
            let own: Vec<_> = all
                .iter()
                .filter(|(_, g)| ANISOTROPIES.get(which).is_none_or(|only| only == g))
                .collect();
            let mut random = Random::of(which as u64, "stacks");
            let rows: Vec<Vec<(usize, f64)>> = (0..each)
                .map(|row| {
                    let films = 2 + row % 2;
                    let mut left: Vec<usize> = (0..own.len()).collect();
                    (0..films)
                        .map(|_| {
                            (
                                left.swap_remove(random.below(left.len())),
                                *random.pick(&[0.25, 0.5, 1.0]),
                            )
                        })
                        .collect()
                })
                .collect();
            made(name, &own, &rows)
        })
        .collect()
}

fn made(
    name: &'static str,
    paints: &[&(paints::InventedPaint, f64)],
    rows: &[Vec<(usize, f64)>],
) -> StackSet {
    let used: Vec<usize> = (0..paints.len())
        .filter(|i| rows.iter().flatten().any(|(paint, _)| paint == i))
        .collect();
    let grounds = grounds();
    let transports: Vec<_> = used
        .iter()
        .map(|&i| Transport::<EXACT>::new(paints[i].1))
        .collect();
    let [white, black] = stripes().map(|stripe| spectrum::xyz_of(&stripe));
    let place = |paint: usize| used.iter().position(|&i| i == paint).expect("a used paint");
    StackSet {
        name,
        white,
        black,
        paints: used
            .iter()
            .map(|&i| {
                let (paint, anisotropy) = paints[i];
                StackPaint {
                    name: paint.name.into(),
                    absorption: paint.absorption,
                    scattering: paint.scattering,
                    anisotropy: *anisotropy,
                    exact: exact_cells(&paint.absorption, &paint.scattering, *anisotropy, &CARD),
                }
            })
            .collect(),
        rows: rows
            .iter()
            .map(|films| {
                let films: Vec<(usize, f64)> = films
                    .iter()
                    .map(|&(paint, build)| (place(paint), build))
                    .collect();
                let responses: Vec<_> = (0..BANDS)
                    .map(|b| {
                        let layers: Vec<Layer<EXACT>> = films
                            .iter()
                            .map(|&(at, build)| {
                                let (paint, _) = paints[used[at]];
                                transports[at].film(paint.absorption[b], paint.scattering[b], build)
                            })
                            .collect();
                        // Directions and surface are the same at every anisotropy.
                        transports[0].stack(&layers.iter().collect::<Vec<_>>())
                    })
                    .collect();
                let labs = grounds
                    .iter()
                    .map(|ground| {
                        let seen: Bands = std::array::from_fn(|b| {
                            responses[b].over(surface::to_internal(ground[b]))
                        });
                        colour::lab(spectrum::xyz_of(&seen))
                    })
                    .collect();
                StackRow { films, labs }
            })
            .collect(),
        grounds,
    }
}

impl StackSet {
    /// Grounds as the product sees them: colours.
    pub fn coloured(&self) -> Vec<Ground> {
        self.grounds
            .iter()
            .map(|g| Ground::of_xyz(spectrum::xyz_of(g)))
            .collect()
    }

    /// The same with their spectra.
    pub fn known(&self) -> Vec<Ground> {
        self.grounds.iter().map(score::known_ground).collect()
    }

    /// The product's predictions from given constants of every paint and the build of its unit.
    pub fn score(&self, paints: &[(Constants, f64)], grounds: &[Ground]) -> Tally {
        let constants: Vec<&Constants> = paints.iter().map(|(c, _)| c).collect();
        let mut tally = Tally::default();
        for row in &self.rows {
            let films: Vec<Film> = row
                .films
                .iter()
                .map(|&(paint, build)| Film {
                    paint,
                    build: build / paints[paint].1,
                })
                .collect();
            let stack = Stack::new(&constants, &films).expect("builds within reach");
            for (ground, &truth) in grounds.iter().zip(&row.labs) {
                let predicted = stack.over(ground);
                tally.add(colour::difference(truth, predicted.lab), predicted.range);
            }
        }
        tally
    }

    /// The true constants.
    pub fn true_constants(&self) -> Vec<(Constants, f64)> {
        self.paints.iter().map(|p| (p.constants(), 1.0)).collect()
    }

    /// Cells of every paint's card; `draw` says which noise, if any.
    pub fn cells(&self, draw: Option<usize>) -> Vec<Vec<[Xyz; 2]>> {
        assert!(draw.is_none_or(|d| d < DRAWS));
        self.paints
            .iter()
            .map(|p| match draw {
                None => p.exact.clone(),
                Some(draw) => score::noisy(&mut Random::of(draw as u64, &p.name), &p.exact),
            })
            .collect()
    }

    /// Constants from those cells by the product's fit.
    pub fn fitted(&self, cells: &[Vec<[Xyz; 2]>]) -> Vec<(Constants, f64)> {
        cells
            .iter()
            .map(|cells| {
                let card = sets::card(self.white, self.black, cells);
                let prior = sets::prior(self.white, cells);
                let fitted = fit::fit(&card, &prior, Optics::Transport);
                (Constants::of(&fitted), CARD[card.reference])
            })
            .collect()
    }

    /// Errors of two fluxes on 31 bands, from the same cells.
    pub fn two_flux(&self, cells: &[Vec<[Xyz; 2]>], grounds: &[Ground]) -> Tally {
        let fits: Vec<_> = cells
            .iter()
            .map(|cells| {
                simple_ways::fit_two_flux(
                    &sets::card(self.white, self.black, cells),
                    sets::prior(self.white, cells),
                )
            })
            .collect();
        self.compare(grounds, |films, ground| {
            let films: Vec<_> = films
                .iter()
                .map(|&(paint, build)| (&fits[paint], build))
                .collect();
            simple_ways::two_flux_over(&films, ground)
        })
    }

    /// Errors of three wide bands, from the same cells.
    pub fn wide(&self, cells: &[Vec<[Xyz; 2]>], grounds: &[Ground]) -> Tally {
        let fits: Vec<_> = cells
            .iter()
            .map(|cells| simple_ways::fit_wide(self.white, self.black, cells, None))
            .collect();
        self.compare(grounds, |films, ground| {
            let films: Vec<_> = films
                .iter()
                .map(|&(paint, build)| (&fits[paint], build))
                .collect();
            simple_ways::wide_over(&films, colour::xyz(ground.lab))
        })
    }

    fn compare(
        &self,
        grounds: &[Ground],
        predict: impl Fn(&[(usize, f64)], &Ground) -> Lab,
    ) -> Tally {
        let mut tally = Tally::default();
        for row in &self.rows {
            for (ground, &truth) in grounds.iter().zip(&row.labs) {
                tally.add(colour::difference(truth, predict(&row.films, ground)), 0.0);
            }
        }
        tally
    }
}

/// A development set of our own: the paints that no choice in the fit was made on, each at one of [`ANISOTROPIES`].
pub fn own_set() -> Set {
    let [white, black] = stripes().map(|stripe| spectrum::xyz_of(&stripe));
    let spectra = grounds();
    Set {
        name: "own",
        white,
        black,
        grounds: spectra
            .iter()
            .map(|g| Ground::of_xyz(spectrum::xyz_of(g)))
            .collect(),
        grounds_xyz: spectra.iter().map(spectrum::xyz_of).collect(),
        builds: CARD.to_vec(),
        paints: paints::third_set()
            .into_iter()
            .enumerate()
            .map(|(i, paint)| {
                let anisotropy = ANISOTROPIES[i % ANISOTROPIES.len()];
                let transport = Transport::<EXACT>::new(anisotropy);
                let exact = exact_cells(&paint.absorption, &paint.scattering, anisotropy, &CARD);
                let over_grounds = [0.25, 0.5, 1.0, 2.0, 4.0].map(|build| {
                    let film: Vec<_> = (0..BANDS)
                        .map(|b| {
                            transport.stack(&[&transport.film(
                                paint.absorption[b],
                                paint.scattering[b],
                                build,
                            )])
                        })
                        .collect();
                    let over = |ground: &Bands| {
                        let seen: Bands =
                            std::array::from_fn(|b| film[b].over(surface::to_internal(ground[b])));
                        colour::lab(spectrum::xyz_of(&seen))
                    };
                    (build, spectra.iter().map(over).collect())
                });
                SetPaint {
                    name: paint.name.into(),
                    absorption: paint.absorption,
                    scattering: paint.scattering,
                    noisy: (0..DRAWS)
                        .map(|draw| score::noisy(&mut Random::of(draw as u64, paint.name), &exact))
                        .collect(),
                    exact,
                    over_grounds: over_grounds.into(),
                }
            })
            .collect(),
    }
}
