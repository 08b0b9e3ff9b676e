//! From cells to constants, whatever kind of scanner saw them and however dull the films have dried.

use nalgebra::{DMatrix, DVector, Matrix3};

use super::Answers;
use crate::{
    card::{
        Ground,
        cells::{PooledCell, Sampled},
        tones::{Tones, white},
    },
    colour::{self, Xyz},
    film::surface,
    fit::{
        self, Datum, Fitted, Optics, Prior, Says,
        noise::{self, Exposed, Scanner},
        sensors::{Group, Sensors},
    },
    paint::{
        Constants,
        file::{ScannerKind, Surface},
    },
    spectrum::{self, BANDS, Bands},
};

/// Uncertainty that every cell shares, in reflectance: what a scanner does not repeat.
pub(super) const FLOOR: f64 = 0.002;
/// Uncertainty in proportion to the value: what the optics do not say.
pub(super) const RELATIVE: f64 = 0.005;
/// Anisotropy of a paint's scattering before its card is seen: anything between even and strongly forward (ours).
pub const ANISOTROPY: (f64, f64) = (0.4, 0.25);
/// On bare paper the surface correction holds only roughly; both uncertainties grow by this (ours, not measured).
const UNSEALED: f64 = 2.0;
/// Share of clipped pixels from which a channel is a bound and no value.
pub(super) const CLIPPED: f64 = 0.05;

/// Standard deviation of one cell's value of a sealed card: its own scatter, what a scanner does not repeat, and what the
/// optics do not say.
pub fn cell_sd(scatter: f64, value: f64) -> f64 {
    let relative = RELATIVE * value;
    (scatter * scatter + FLOOR * FLOOR + relative * relative).sqrt()
}

/// How far the constant may be from nothing when a film called glossy is put to the test.
const HAZE_TEST: f64 = 0.03;
/// From this constant on, and this many standard deviations, a film called glossy counts as dull.
const HAZE_SEEN: (f64, f64) = (0.006, 3.0);
/// From here on a first look, through one kind of scanner, is followed by a full one. On 128 random cards the two were 0.009 apart at most,
/// where the constant was least known, and this let all six cards through that the full look then found dull, and one more.
const HAZE_SUSPECTED: (f64, f64) = (0.004, 2.0);

/// Whether a constant is above a bound, and above as many of its standard deviations.
fn beyond((haze, sd): (f64, f64), (least, deviations): (f64, f64)) -> bool {
    haze > least && haze > deviations * sd
}

/// What the cells of a card say of its paint.
#[derive(Debug, Clone)]
pub(super) struct Solved {
    /// The constants, absent for films that are not modelled.
    pub(super) fitted: Option<Fitted>,
    /// The pooled cells as measures of their colours.
    pub(super) cells: Vec<Measure>,
    /// Whether films called glossy had to be taken as dull to be understood: black lifted alike under every film is the
    /// surface, scatter grows with the film.
    pub(super) dull: bool,
    /// What white and black were measured by.
    pub(super) tones: Tones,
    /// How far apart the kinds of scanner put this paint's colours, in CIEDE2000: what knowing the kind would settle. Nothing where it
    /// is known, or where they agree.
    pub(super) kinds_apart: f64,
}

/// How good a measure of its colour a cell is, a scanner's errors included.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Measure {
    /// What scanners like this one usually see too much, in XYZ.
    pub(super) off: [f64; 3],
    /// Standard deviations of the cell's XYZ as they stand, so that what is off counts too.
    pub(super) sd: [f64; 3],
}

/// Constants from cells.
pub(super) fn solve(sampled: &Sampled, films: usize, answers: &Answers, tones: Tones) -> Solved {
    let over_white = sampled
        .pooled
        .iter()
        .filter(|cell| cell.ground == Ground::White);
    let films_over_white = over_white.map(|cell| cell.xyz);
    let prior = Prior::of_films(sampled.white.xyz, films_over_white);
    let told = answers.surface.haze();
    let card = Card::of(sampled, films, answers);
    let first = fit::fit(
        &card.seen_by(&FIRST_GUESS, &before_the_fit(sampled), told),
        &prior,
        Optics::Transport,
    );
    let scanners = scanners(answers, tones);
    // Only now it is known how steep the spectra are that the scanner may have misjudged, and what of a stripe comes through.
    let seen_through = |scanner: &Scanner, near: &Fitted, haze: (f64, f64)| {
        let seen = as_fitted(sampled, &card.plain, near);
        fit::refit(&card.seen_by(scanner, &seen, haze), &prior, near)
    };
    let under = |haze: (f64, f64)| {
        let mut fits: Vec<Fitted> = scanners
            .iter()
            .map(|scanner| seen_through(scanner, &first, haze))
            .collect();
        for _ in 1..TURNS {
            for (scanner, fitted) in scanners.iter().zip(&mut fits) {
                *fitted = seen_through(scanner, fitted, haze);
            }
        }
        let apart = kinds_apart(&card.plain, &scanners, &fits);
        (Fitted::mixed(&fits), apart)
    };
    let solved = |((fitted, weights), kinds_apart): ((Fitted, Vec<f64>), f64), dull: bool| {
        let seen = as_fitted(sampled, &card.plain, &fitted);
        Solved {
            cells: measures(sampled, answers, &seen, &scanners, &weights),
            fitted: Some(fitted),
            dull,
            tones,
            kinds_apart,
        }
    };
    if answers.surface == Surface::Glossy && films > 1 {
        let guess = seen_through(&FIRST_GUESS, &first, (0.0, HAZE_TEST));
        if beyond(guess.haze, HAZE_SUSPECTED) {
            let open = under((0.0, HAZE_TEST));
            if beyond(open.0.0.haze, HAZE_SEEN) {
                return solved(open, true);
            }
        }
    }
    solved(under(told), false)
}

/// What can be said of cells whose films are not modelled.
pub(super) fn unsolved(sampled: &Sampled, answers: &Answers, tones: Tones) -> Solved {
    let scanners = scanners(answers, tones);
    let weights = vec![1.0 / scanners.len() as f64; scanners.len()];
    let seen = before_the_fit(sampled);
    Solved {
        fitted: None,
        cells: measures(sampled, answers, &seen, &scanners, &weights),
        dull: false,
        tones,
        kinds_apart: 0.0,
    }
}

/// How far apart scanners with three narrow lights and all others put the colours of films, half to twice the card's middle one, over the
/// card's white and over a grey: the largest CIEDE2000. Nothing where only one of both is thought of.
fn kinds_apart(card: &fit::Card, scanners: &[Scanner], fits: &[Fitted]) -> f64 {
    let of = |three: bool| -> Option<Constants> {
        let kind: Vec<Fitted> = scanners
            .iter()
            .zip(fits)
            .filter(|(scanner, _)| (scanner.sensor == Group::Three) == three)
            .map(|(_, fitted)| fitted.clone())
            .collect();
        (!kind.is_empty()).then(|| Constants::of(&Fitted::mixed(&kind).0))
    };
    let (Some(three), Some(others)) = (of(true), of(false)) else {
        return 0.0;
    };
    let rows = spectrum::to_xyz_rows();
    let grounds = [card.grounds[0], [GREY; BANDS]];
    let mut most: f64 = 0.0;
    for ground in &grounds {
        for build in [0.5, 1.0, 2.0] {
            let [a, b] = [&three, &others].map(|paint| {
                let seen = paint.over(build, ground).reflectance;
                let [x, y, z] = rows.map(|row| weighted(&row, &seen));
                colour::lab(Xyz::new(x, y, z))
            });
            most = most.max(colour::difference(a, b));
        }
    }
    most
}

/// Internal reflectance of a middle grey ground.
const GREY: f64 = 0.35;

/// Scatter of cells of which only the whole standard deviations `sds` are known: what is left of them when the scanner was a poor one,
/// and at least `least`. A better one leaves more to the scatter than that, but then the cells of its card were good ones.
pub(super) fn scatter(
    sampled: &Sampled,
    answers: &Answers,
    tones: Tones,
    sds: &[[f64; 3]],
    least: f64,
) -> Vec<[f64; 3]> {
    let scanners = scanners(answers, tones);
    let mut weights = vec![0.0; scanners.len()];
    weights[scanners.len() - 1] = 1.0;
    let seen = before_the_fit(sampled);
    let explained = measures(sampled, answers, &seen, &scanners, &weights);
    sds.iter()
        .zip(explained)
        .map(|(sd, explained)| {
            std::array::from_fn(|axis| {
                let left = sd[axis].powi(2) - explained.sd[axis].powi(2);
                left.max(least * least).sqrt()
            })
        })
        .collect()
}

fn measures(
    sampled: &Sampled,
    answers: &Answers,
    seen: &[SeenCell],
    scanners: &[Scanner],
    weights: &[f64],
) -> Vec<Measure> {
    let widen = widening(answers);
    let exposed: Vec<Exposed> = seen
        .iter()
        .flat_map(|seen| {
            (0..3).map(|axis| Exposed {
                axes: std::array::from_fn(|i| if i == axis { 1.0 } else { 0.0 }),
                channels: sampled.to_xyz[axis],
                // The colour is wrong by the whole zero error, whatever is wrong with the stripe below.
                through: [0.0; 3],
                own_light: 0.0,
                spectrum: seen.spectrum,
            })
        })
        .collect();
    let shared: Vec<(DVector<f64>, DMatrix<f64>)> = scanners
        .iter()
        .map(|scanner| noise::of_scanner(scanner, &exposed))
        .collect();
    let mixed = |of: &dyn Fn(&DVector<f64>, &DMatrix<f64>) -> f64| -> f64 {
        let parts = weights.iter().zip(&shared);
        parts.map(|(w, (off, m))| w * of(off, m)).sum()
    };
    let measure = |(i, cell): (usize, &PooledCell)| {
        let at = |axis: usize| 3 * i + axis;
        Measure {
            off: std::array::from_fn(|axis| mixed(&|off, _| off[at(axis)])),
            sd: std::array::from_fn(|axis| {
                let own = widen * cell_sd(0.0, cell.xyz[axis]);
                let of_scanner = mixed(&|off, m| m[(at(axis), at(axis))] + off[at(axis)].powi(2));
                (own * own + cell.xyz_sd[axis] * cell.xyz_sd[axis] + of_scanner).sqrt()
            }),
        }
    };
    sampled.pooled.iter().enumerate().map(measure).collect()
}

fn widening(answers: &Answers) -> f64 {
    if answers.sealed { 1.0 } else { UNSEALED }
}

/// What is known of a pooled cell besides its colour.
struct SeenCell {
    /// Its reflectance.
    spectrum: Bands,
    /// How much of a change of the bare stripe's reflectance it shows.
    through: Bands,
    /// That share of the stripe's reflectance.
    from_stripe: Bands,
}

fn before_the_fit(sampled: &Sampled) -> Vec<SeenCell> {
    sampled
        .pooled
        .iter()
        .map(|cell| SeenCell {
            spectrum: spectrum::smoothest(Xyz::new(cell.xyz[0], cell.xyz[1], cell.xyz[2])),
            through: [0.0; BANDS],
            from_stripe: [0.0; BANDS],
        })
        .collect()
}

fn as_fitted(sampled: &Sampled, card: &fit::Card, fitted: &Fitted) -> Vec<SeenCell> {
    let paint = Constants::of(fitted);
    sampled
        .pooled
        .iter()
        .map(|cell| {
            let ground = &card.grounds[usize::from(cell.ground == Ground::Black)];
            let build = libm::exp(fitted.log_builds[cell.film]);
            let through = paint.through(build, ground);
            SeenCell {
                spectrum: paint
                    .over(build, ground)
                    .reflectance
                    .map(|r| r + fitted.haze.0),
                through,
                from_stripe: std::array::from_fn(|b| through[b] * surface::to_measured(ground[b])),
            }
        })
        .collect()
}

/// The cells as data of a fit, seen by a usual scanner, before anything is known of the paint.
pub fn card_for_fit(sampled: &Sampled, films: usize, answers: &Answers) -> fit::Card {
    let seen = before_the_fit(sampled);
    Card::of(sampled, films, answers).seen_by(&FIRST_GUESS, &seen, answers.surface.haze())
}

/// A card's data, and how each is made of a cell.
struct Card {
    plain: fit::Card,
    made: Vec<Made>,
    device: [Bands; 3],
}

struct Made {
    /// Index of the pooled cell.
    cell: usize,
    /// Weights of X, Y and Z.
    axes: [f64; 3],
    /// Weights of the file's channels.
    channels: [f64; 3],
}

impl Card {
    /// The card under films whose surface adds `haze`, seen by a scanner with such errors, by what is known of its cells. What such a
    /// sensor usually sees else than the eye is in the rows: a fit to three narrow lights says nothing of the spectrum between them, and
    /// its covariance then tells so.
    fn seen_by(&self, scanner: &Scanner, seen: &[SeenCell], haze: (f64, f64)) -> fit::Card {
        let (_, shared) = noise::of_scanner(scanner, &self.exposed(seen));
        let mut card = fit::Card {
            haze,
            shared,
            ..self.plain.clone()
        };
        let usual = &Sensors::of(scanner.sensor).mean;
        for (datum, made) in card.data.iter_mut().zip(&self.made) {
            for (band, weight) in datum.row.iter_mut().enumerate() {
                *weight += (0..3)
                    .map(|axis| made.axes[axis] * usual[axis][band])
                    .sum::<f64>();
            }
        }
        card
    }

    /// What of each datum a scanner's errors act on.
    fn exposed(&self, seen: &[SeenCell]) -> Vec<Exposed> {
        let through: Vec<[f64; 3]> = seen
            .iter()
            .map(|cell| {
                self.device
                    .map(|row| weighted(&row, &cell.through) / row.iter().sum::<f64>())
            })
            .collect();
        self.made
            .iter()
            .zip(&self.plain.data)
            .map(|(made, datum)| Exposed {
                axes: made.axes,
                channels: made.channels,
                through: through[made.cell],
                own_light: datum.value - weighted(&datum.row, &seen[made.cell].from_stripe),
                spectrum: seen[made.cell].spectrum,
            })
            .collect()
    }

    fn of(sampled: &Sampled, films: usize, answers: &Answers) -> Self {
        let widen = widening(answers);
        let rows = spectrum::to_xyz_rows();
        let device = device_rows(&sampled.to_xyz, &rows);
        let inverse = Matrix3::from_fn(|i, j| sampled.to_xyz[i][j])
            .try_inverse()
            .unwrap_or_else(Matrix3::identity);
        let from_xyz: [[f64; 3]; 3] =
            std::array::from_fn(|c| std::array::from_fn(|axis| inverse[(c, axis)]));
        let mut data = Vec::with_capacity(6 * films);
        let mut made = Vec::with_capacity(6 * films);
        for (index, cell) in sampled.pooled.iter().enumerate() {
            let ground = usize::from(cell.ground == Ground::Black);
            let mut push = |row: &Bands,
                            axes: [f64; 3],
                            channels: [f64; 3],
                            value: f64,
                            scatter: f64,
                            says: Says| {
                made.push(Made {
                    cell: index,
                    axes,
                    channels,
                });
                // What a flat spectrum of 1 gives: the floor scales with it.
                let unit: f64 = row.iter().sum();
                let shared = widen * FLOOR * unit.abs().max(0.5);
                let relative = widen * RELATIVE * value;
                data.push(Datum {
                    film: cell.film,
                    ground,
                    row: *row,
                    value,
                    sd: (scatter * scatter + shared * shared + relative * relative).sqrt(),
                    says,
                });
            };
            let unit = |c: usize| std::array::from_fn(|i| if i == c { 1.0 } else { 0.0 });
            if cell.clipped() > CLIPPED {
                // Clipping happens in the file's own channels: there it is a bound, in XYZ it would spoil all three.
                for c in 0..3 {
                    let says = if cell.clipped_low[c] > CLIPPED {
                        Says::AtMost
                    } else if cell.clipped_high[c] > CLIPPED {
                        Says::AtLeast
                    } else {
                        Says::Equal
                    };
                    push(
                        &device[c],
                        from_xyz[c],
                        unit(c),
                        cell.additive[c],
                        cell.additive_sd[c],
                        says,
                    );
                }
            } else {
                for axis in 0..3 {
                    push(
                        &rows[axis],
                        unit(axis),
                        sampled.to_xyz[axis],
                        cell.xyz[axis],
                        cell.xyz_sd[axis],
                        Says::Equal,
                    );
                }
            }
        }
        let (nominal, reference) = fit::nominal_builds(&sampled.depths(), &sampled.units);
        let ground = |xyz: [f64; 3]| {
            spectrum::smoothest(Xyz::new(xyz[0], xyz[1], xyz[2])).map(surface::to_internal)
        };
        let plain = fit::Card {
            grounds: vec![ground(sampled.white.xyz), ground(sampled.black.xyz)],
            haze: answers.surface.haze(),
            anisotropy: ANISOTROPY,
            shared: DMatrix::zeros(data.len(), data.len()),
            data,
            nominal,
            reference,
        };
        Self {
            plain,
            made,
            device,
        }
    }
}

/// Sensors that a scanner may have. No one is right for all; the cells say which it is ([`Fitted::mixed`]). A painter who knows the
/// scanner leaves fewer.
const fn sensors(scanner: ScannerKind) -> &'static [Group] {
    match scanner {
        ScannerKind::Unknown => &[Group::Good, Group::White, Group::Three, Group::Camera],
        ScannerKind::WhiteLight => &[Group::Good, Group::White, Group::Camera],
        ScannerKind::ThreeLights => &[Group::Three],
    }
}
/// How often a scanner's errors are told anew from the spectra that the last fit found: a sensor's difference shows in steep spectra,
/// and how steep they are shows only once it is taken off (see DEVELOPERS.md, *What sensors usually differ by*).
const TURNS: usize = 3;
/// What a fit goes by first.
const FIRST_GUESS: Scanner = Scanner {
    sensor: Group::Any,
    zero: 0.002,
    level: white::OF_SCANNER,
};

fn scanners(answers: &Answers, tones: Tones) -> Vec<Scanner> {
    let level = tones.level.sd();
    let zeros = tones.zero.sds();
    sensors(answers.scanner)
        .iter()
        .flat_map(|&sensor| {
            zeros.iter().map(move |&zero| Scanner {
                sensor,
                zero,
                level,
            })
        })
        .collect()
}

fn weighted(row: &Bands, spectrum: &Bands) -> f64 {
    row.iter().zip(spectrum).map(|(w, v)| w * v).sum()
}

/// Rows over the spectrum of the file's own additive channels: the inverse of its matrix to XYZ, times the CIE rows.
fn device_rows(to_xyz: &[[f64; 3]; 3], rows: &[Bands; 3]) -> [Bands; 3] {
    let matrix = Matrix3::from_fn(|i, j| to_xyz[i][j]);
    let inverse = matrix.try_inverse().unwrap_or_else(Matrix3::identity);
    std::array::from_fn(|c| {
        std::array::from_fn(|band| {
            (0..3)
                .map(|axis| inverse[(c, axis)] * rows[axis][band])
                .sum()
        })
    })
}

#[cfg(test)]
mod tests {
    use crate::{
        card::find,
        colour::{self, Xyz},
        paint::file::ScannerKind,
        reading::{self, Answers},
        scan::decode,
        simulate::{render, sensor::Kind, troubles},
    };

    /// A steep colour through three narrow lights: the kinds disagree, and which it was is asked until it is answered. A grey is the same
    /// for all of them.
    #[test]
    fn the_kind_of_scanner_is_asked_where_it_matters() {
        let asked = |paint: &str, scanner: ScannerKind| {
            let mut scene = (0..400)
                .map(|seed| troubles::plain(seed, 105.0))
                .find(|scene| scene.cards[0].paint.name == paint)
                .expect("a card of it");
            scene.scanner.sensor = Kind::ThreeLeds;
            let scan = decode::decode(&render(&scene).bytes().expect("a picture"), "scan")
                .expect("a picture");
            let layouts = find::find(&scan).expect("a card");
            let answers = Answers {
                scanner,
                ..Answers::default()
            };
            let read = reading::read_card(&scan, &layouts[0], &answers).expect("films");
            read.findings.iter().any(|f| f.code == "scanner-kind")
        };
        assert!(asked("blue lake", ScannerKind::Unknown));
        assert!(!asked("blue lake", ScannerKind::ThreeLights));
        assert!(!asked("smoke blue", ScannerKind::Unknown));
    }

    /// What a kind of sensor usually sees too much is no misfit of the paint.
    #[test]
    fn a_usual_sensor_is_no_misfit() {
        let (mut as_seen, mut misfit) = (0.0, 0.0);
        for seed in 70..74 {
            let mut scene = troubles::plain(seed, 105.0);
            scene.scanner.sensor = Kind::Lamp;
            let scan = decode::decode(&render(&scene).bytes().expect("a picture"), "scan")
                .expect("a picture");
            let layouts = find::find(&scan).expect("a card");
            let read = reading::read_card(&scan, &layouts[0], &Answers::default()).expect("films");
            for cell in &read.record.cells {
                let [seen, fitted] =
                    [cell.xyz, cell.fitted_xyz].map(|[x, y, z]| colour::lab(Xyz::new(x, y, z)));
                as_seen += colour::difference(seen, fitted);
                misfit += cell.de00;
            }
        }
        assert!(misfit < 0.8 * as_seen, "{misfit} {as_seen}");
    }
}
