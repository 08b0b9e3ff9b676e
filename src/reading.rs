//! The whole reading of one card: pixels to a record, the same for the page and for the command.

use nalgebra::DMatrix;
use serde::{Deserialize, Serialize};

mod again;
mod solve;
mod stranger;

pub use again::again;
pub use solve::{ANISOTROPY, card_for_fit, cell_sd};
use solve::{FLOOR, RELATIVE, Solved};
pub use stranger::{STRANGER, ask as ask_about_stranger, stranger};

use crate::{
    Error, Result,
    card::{
        Ground, Layout,
        cells::{self, PooledCell, Sampled},
        findings::{self, Finding, Outcome},
        tones::{Tones, black::Zero, white::Level},
    },
    colour::{self, Xyz},
    film::{surface, table},
    fit::{self, Fitted},
    paint::{
        Constants,
        file::{self, Dry, Label, Record, ScannerKind, State, Surface},
        verdict,
    },
    scan::Scan,
    spectrum::{self, BANDS},
};

/// What only the painter knows of a card.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Answers {
    /// `yes`, `no`, or a day it has been dry since.
    pub dry: String,
    /// Gloss of the films.
    pub surface: Surface,
    /// Whether the card is sealed or painted rather than bare paper.
    pub sealed: bool,
    /// What set the films' thickness, as typed.
    pub gauge: Option<String>,
    /// L* of the bare white stripe where it was measured, above [`DARKEST_WHITE`]; otherwise the scanner's white counts.
    pub white: Option<f64>,
    /// What scanned it.
    #[serde(default)]
    pub scanner: ScannerKind,
}

/// A stripe with a smaller L* is no white that others are measured by.
pub const DARKEST_WHITE: f64 = 60.0;

impl Default for Answers {
    fn default() -> Self {
        Self {
            dry: "yes".into(),
            surface: Surface::Glossy,
            sealed: true,
            gauge: None,
            white: None,
            scanner: ScannerKind::Unknown,
        }
    }
}

/// A card that has been read.
#[derive(Debug, Clone)]
pub struct Reading {
    /// Where everything lies.
    pub layout: Layout,
    /// What the cells measure.
    pub sampled: Sampled,
    /// The fit, absent for paints that are not modelled.
    pub fitted: Option<Fitted>,
    /// Whether the films, called glossy, read as dull: the painter is asked.
    pub dull: bool,
    /// What was noticed, what matters most first; in the record as plain sentences.
    pub findings: Vec<Finding>,
    /// The record to keep. Its label is empty until the painter writes one.
    pub record: Record,
}

/// Reads one card of a scan. What was taken for a film and keeps the rest from being films of one paint ([`stranger()`]) is left out, and
/// the layout asks about it.
///
/// # Errors
/// [`Error::Layout`] and [`Error::NoFilms`] where the layout has nothing that can be sampled.
pub fn read_card(scan: &Scan, layout: &Layout, answers: &Answers) -> Result<Reading> {
    if layout.films.is_empty() {
        return Err(Error::NoFilms);
    }
    let sampled = cells::sample(scan, layout)?;
    let reading = read_sampled(scan, layout, sampled.clone(), answers);
    let Some((film, rest)) = stranger(scan, &reading, &sampled, answers) else {
        return Ok(reading);
    };
    let mut asking = layout.clone();
    stranger::ask(&mut asking, film);
    Ok(Reading {
        layout: asking.without(film),
        ..rest
    })
}

/// The same from cells that were sampled before: for answers that change nothing but the fit, and to tell the stages apart.
pub fn read_sampled(scan: &Scan, layout: &Layout, sampled: Sampled, answers: &Answers) -> Reading {
    let measured = answers
        .white
        .filter(|l| (DARKEST_WHITE..=100.0).contains(l));
    let tones = Tones::of(scan, layout, &sampled, measured);
    // Tones are judged as the scan has them: guessed ones say nothing new about the scanner.
    let as_seen = tones.guessed().then(|| sampled.clone());
    let sampled = tones.applied(sampled);
    let state = state_of(&sampled, layout.films.len());
    let fit_card = card_for_fit(&sampled, layout.films.len(), answers);
    let (state, solved) = solved(&sampled, layout.films.len(), answers, state, tones);
    let (fitted, dull) = (solved.fitted.as_ref(), solved.dull);
    let builds: Vec<f64> = fitted.map_or_else(Vec::new, |fit| {
        fit.log_builds.iter().map(|log| libm::exp(*log)).collect()
    });
    let outcome = Outcome {
        state,
        dull,
        level: tones.level,
        builds: &builds,
    };
    let mut findings =
        findings::findings(scan, layout, as_seen.as_ref().unwrap_or(&sampled), &outcome);
    let mut record = record(
        layout.films.len(),
        &sampled,
        answers,
        state,
        &solved,
        &fit_card,
    );
    record.provenance = file::Provenance {
        file_name: scan.origin.file_name.clone(),
        size: [scan.width, scan.height],
        depth: scan.origin.depth,
        profile: scan.origin.profile.clone(),
        ..record.provenance
    };
    let whole = |cell: &&file::Cell| cell.clipped_share <= solve::CLIPPED;
    let cells = record.cells.iter().filter(whole);
    findings.extend(findings::of_fit(
        cells.map(|cell| (cell.film, cell.ground, cell.de00)),
    ));
    // A camera, whose level is guessed, is none of the kinds that can be answered.
    if !matches!(tones.level, Level::Usual(_)) {
        findings.extend(findings::of_kinds(solved.kinds_apart));
    }
    findings::by_weight(&mut findings);
    record.findings = findings.iter().map(Into::into).collect();
    Reading {
        layout: layout.clone(),
        sampled,
        fitted: solved.fitted,
        dull,
        findings,
        record,
    }
}

fn solved(
    sampled: &Sampled,
    films: usize,
    answers: &Answers,
    state: State,
    tones: Tones,
) -> (State, Solved) {
    if state == State::NotModelled {
        return (state, solve::unsolved(sampled, answers, tones));
    }
    let solved = solve::solve(sampled, films, answers, tones);
    if solved.fitted.as_ref().is_some_and(is_no_such_paint) {
        (State::NotModelled, solve::unsolved(sampled, answers, tones))
    } else {
        (state, solved)
    }
}

/// Whether the cells do not go together as films of any paint that is modelled. The cost of a fit that is right is about one for
/// every number of the card, and less since most scanners are better than the worst.
fn is_no_such_paint(fitted: &Fitted) -> bool {
    /// Ours: of 479 rendered cards of ordinary paints with many troubles at once none was above 1.01; of 12 fluorescent ones that
    /// stay darker than the bare white, 10 were.
    const MISFIT: f64 = 1.2;
    fitted.cost > MISFIT * fitted.fitted.len() as f64
}

/// What the cells can tell at all.
fn state_of(sampled: &Sampled, films: usize) -> State {
    let pair = |film: usize| -> Option<(&PooledCell, &PooledCell)> {
        let find = |g| {
            sampled
                .pooled
                .iter()
                .find(|c| c.film == film && c.ground == g)
        };
        Some((find(Ground::White)?, find(Ground::Black)?))
    };
    let pairs: Vec<_> = (0..films).filter_map(pair).collect();
    let sd = |cell: &PooledCell, axis: usize| {
        (cell.xyz_sd[axis] * cell.xyz_sd[axis] + FLOOR * FLOOR).sqrt()
            + RELATIVE * cell.xyz[axis].abs()
    };
    // A white paint may well be brighter than the card's white, and a scan too light; only a coloured film shines.
    let coloured = |cell: &PooledCell| {
        let of_white = |axis: usize| cell.xyz[axis] / colour::WHITE[axis];
        let most = (0..3).map(of_white).fold(0.0, f64::max);
        let least = (0..3).map(of_white).fold(f64::INFINITY, f64::min);
        least < 0.9 * most
    };
    let brighter = pairs.iter().any(|(white, black)| {
        (0..3).any(|axis| {
            black.xyz[axis] > white.xyz[axis] + 4.0 * (sd(white, axis) + sd(black, axis))
                || coloured(white)
                    && white.xyz[axis]
                        > sampled.white.xyz[axis].max(0.9 * colour::WHITE[axis]) * 1.08
                            + 4.0 * sd(white, axis)
        })
    });
    if brighter {
        return State::NotModelled;
    }
    let same = |(white, black): &(&PooledCell, &PooledCell)| {
        (0..3).all(|axis| {
            (white.xyz[axis] - black.xyz[axis]).abs() < 1.5 * (sd(white, axis) + sd(black, axis))
        })
    };
    if !pairs.is_empty() && pairs.iter().all(same) {
        // A dark pair hides by absorbing and leaves K open upwards; a light one hides by scattering.
        // What was cut off at zero is dark, whatever it was raised by.
        let cut = |cell: &PooledCell| cell.clipped_low.iter().all(|&share| share > solve::CLIPPED);
        let light = pairs
            .iter()
            .any(|(white, _)| white.xyz[1] > 0.03 && !cut(white));
        return if light {
            State::MasstoneOnly
        } else {
            State::AbsorptionAtLeast
        };
    }
    if films == 1 {
        return State::OneFilm;
    }
    let unlifted = pairs.iter().all(|(_, black)| {
        (0..3).all(|axis| black.xyz[axis] < sampled.black.xyz[axis] + 1.5 * sd(black, axis))
    });
    if unlifted {
        State::ScatterAtMost
    } else {
        State::Known
    }
}

/// `value` to six significant digits. Natively and in the browser the last bits of a number differ; printed files do not.
pub fn printed(value: f64) -> f64 {
    format!("{value:.5e}").parse().unwrap_or(value)
}

fn printed3(values: [f64; 3]) -> [f64; 3] {
    values.map(printed)
}

fn record(
    films: usize,
    sampled: &Sampled,
    answers: &Answers,
    state: State,
    solved: &Solved,
    fit_card: &fit::Card,
) -> Record {
    let fitted = solved.fitted.as_ref();
    let rows = spectrum::to_xyz_rows();
    let spectrum_of = |xyz: [f64; 3]| {
        spectrum::smoothest(Xyz::new(xyz[0], xyz[1], xyz[2]))
            .map(printed)
            .to_vec()
    };
    let builds: Vec<file::Film> = (0..films)
        .map(|f| match fitted {
            Some(fit) => {
                let build = libm::exp(fit.log_builds[f]);
                let variance = fit.covariance[(2 * BANDS + f, 2 * BANDS + f)].max(0.0);
                file::Film {
                    build: printed(build),
                    build_sd: printed(build * variance.sqrt()),
                }
            }
            None => file::Film {
                build: fit_card.nominal[f],
                build_sd: fit_card.nominal[f],
            },
        })
        .collect();
    let constants = fitted.map(Constants::of);
    let cells = sampled
        .pooled
        .iter()
        .zip(&solved.cells)
        .map(|(cell, measure)| {
            let ground = usize::from(cell.ground == Ground::Black);
            let fitted_xyz = constants.as_ref().map_or(cell.xyz, |paint| {
                let offset = fitted.map_or(0.0, |f| f.haze.0);
                let seen = paint
                    .over(builds[cell.film].build, &fit_card.grounds[ground])
                    .reflectance;
                std::array::from_fn(|axis| {
                    (0..BANDS).map(|b| rows[axis][b] * (seen[b] + offset)).sum()
                })
            });
            let as_it_is = std::array::from_fn(|axis| match fitted {
                Some(_) => cell.xyz[axis] - measure.off[axis],
                None => cell.xyz[axis],
            });
            let lab = |v: [f64; 3]| colour::lab(Xyz::new(v[0], v[1], v[2]));
            file::Cell {
                film: cell.film,
                ground: cell.ground,
                xyz: printed3(cell.xyz),
                sd: printed3(measure.sd),
                scatter: Some(printed3(cell.xyz_sd)),
                fitted_xyz: printed3(fitted_xyz),
                de00: printed(colour::difference(lab(as_it_is), lab(fitted_xyz))),
                pixels: cell.pixels,
                rejected_share: printed(cell.rejected_share),
                clipped_share: printed(cell.clipped()),
                clipped_channels: (cell.clipped() > solve::CLIPPED)
                    .then(|| [cell.clipped_low, cell.clipped_high, cell.additive_sd].map(printed3)),
            }
        })
        .collect();
    let thickest = builds.iter().map(|f| f.build).fold(0.0, f64::max);
    let thinnest = (0..films)
        .min_by(|&i, &j| builds[i].build.total_cmp(&builds[j].build))
        .unwrap_or(0);
    let contrast_ratio = (0..films)
        .map(|f| contrast_of(sampled, f))
        .collect::<Vec<_>>();
    let mut basis = basis(
        fitted.map_or(ANISOTROPY.0, |fit| fit.anisotropy),
        solved.tones,
    );
    basis.channels_to_xyz = Some(sampled.to_xyz.map(printed3));
    Record {
        format: file::FORMAT.into(),
        version: file::VERSION,
        paint: Label::default(),
        basis,
        absorption: constants
            .as_ref()
            .map_or_else(Vec::new, |c| c.absorption.map(printed).to_vec()),
        scattering: constants
            .as_ref()
            .map_or_else(Vec::new, |c| c.scattering.map(printed).to_vec()),
        uncertainty: fitted.map_or_else(file::Uncertainty::default, uncertainty),
        stripes: file::Stripes {
            white_xyz: printed3(sampled.white.xyz),
            black_xyz: printed3(sampled.black.xyz),
            white_spectrum: spectrum_of(sampled.white.xyz),
            black_spectrum: spectrum_of(sampled.black.xyz),
            sealed: answers.sealed,
        },
        reference_film: fit_card.reference,
        films: builds,
        cells,
        surface: answers.surface,
        dry: Dry(answers.dry.clone()),
        gauge: answers.gauge.clone(),
        film_weight: None,
        state,
        opacity: opacity(
            state,
            constants.as_ref(),
            thickest,
            contrast_ratio,
            sampled,
            thinnest,
        ),
        findings: Vec::new(),
        provenance: file::Provenance {
            file_name: String::new(),
            size: [0; 2],
            depth: 0,
            profile: String::new(),
            scanner: answers.scanner,
            card_number: None,
            when: String::new(),
            program: concat!("twoground ", env!("CARGO_PKG_VERSION")).into(),
        },
        coats: Vec::new(),
        tints: Vec::new(),
        unknown: serde_json::Map::new(),
    }
}

/// What this program's numbers are relative to: constants that belong to `anisotropy`, and what white
/// and black were measured by.
pub fn basis(anisotropy: f64, tones: Tones) -> file::Basis {
    file::Basis {
        wavelengths_nm: spectrum::wavelengths().to_vec(),
        film_unit: crate::paint::file::FILM_UNIT.to_owned(),
        illuminant: "D50".into(),
        observer: "CIE 1931 2 degree".into(),
        surface: file::SurfaceOptics {
            index: surface::INDEX,
            entry: printed(surface::ENTRY),
            inner: surface::INNER,
        },
        transport: file::Transport {
            anisotropy: printed(anisotropy),
            directions: table::DIRECTIONS,
        },
        white_reference: tones.level.to_string(),
        black_reference: (tones.zero != Zero::Scanner).then(|| tones.zero.to_string()),
        channels_to_xyz: None,
    }
}

fn contrast_of(sampled: &Sampled, film: usize) -> f64 {
    let y = |ground| {
        sampled
            .pooled
            .iter()
            .find(|c| c.film == film && c.ground == ground)
            .map_or(f64::NAN, |c| c.xyz[1].max(0.0))
    };
    let (white, black) = (y(Ground::White), y(Ground::Black));
    if white > 0.0 {
        printed(black / white)
    } else {
        1.0
    }
}

fn opacity(
    state: State,
    paint: Option<&Constants>,
    thickest: f64,
    contrast_ratio: Vec<f64>,
    sampled: &Sampled,
    thinnest: usize,
) -> file::Opacity {
    let graded = matches!(state, State::Known | State::OneFilm | State::ScatterAtMost);
    let milk = paint
        .filter(|_| graded)
        .and_then(|p| verdict::milk(p, thickest));
    let hiding = paint
        .filter(|_| graded)
        .and_then(|p| verdict::hiding_build(p, 10.0 * thickest));
    let lab = |xyz: Xyz| {
        let lab = colour::lab(xyz);
        printed3([lab.l, lab.a, lab.b])
    };
    let undertone = sampled
        .pooled
        .iter()
        .find(|c| c.film == thinnest && c.ground == Ground::White)
        .map(|c| lab(Xyz::new(c.xyz[0], c.xyz[1], c.xyz[2])));
    file::Opacity {
        milk_on_black: milk.map(|m| printed(m.on_black)),
        milk_sd: milk.map(|m| printed(m.sd)),
        grade: paint
            .filter(|_| graded)
            .map(|_| verdict::grade(milk, hiding, thickest)),
        contrast_ratio,
        hiding_build: hiding.map(printed),
        masstone_lab: paint
            .filter(|_| state != State::AbsorptionAtLeast)
            .map(|p| lab(spectrum::xyz_of(&p.masstone()))),
        undertone_lab: undertone,
    }
}

fn uncertainty(fitted: &Fitted) -> file::Uncertainty {
    let sd = |i: usize| printed(fitted.covariance[(i, i)].max(0.0).sqrt());
    let factor = lower_factor(&fitted.covariance);
    let row = |i: usize| -> Vec<f64> {
        (0..=i)
            .map(|j| (factor[(i, j)] * 1e6).round() / 1e6)
            .collect()
    };
    let last = factor.nrows() - 1;
    file::Uncertainty {
        lower_factor: (0..last).map(row).collect(),
        anisotropy_row: row(last),
        log_absorption_sd: (0..BANDS).map(sd).collect(),
        log_scattering_sd: (0..BANDS).map(|b| sd(BANDS + b)).collect(),
    }
}

/// Lower Cholesky factor of a covariance that rounding, or a build that is known exactly, may have made semidefinite.
fn lower_factor(covariance: &DMatrix<f64>) -> DMatrix<f64> {
    let n = covariance.nrows();
    [1e-12, 1e-10, 1e-8, 1e-6]
        .into_iter()
        .find_map(|lift| (covariance + DMatrix::identity(n, n) * lift).cholesky())
        .map(|factor| factor.l())
        // Cannot happen with finite data; the prior's own spread would then be too narrow a claim, so none is made.
        .unwrap_or_else(|| {
            DMatrix::from_diagonal(&covariance.diagonal().map(|v| v.abs().sqrt().max(1.0)))
        })
}
