//! An old card fitted anew, from the cells that its pigment file keeps.

use nalgebra::{Matrix3, Vector3};

use super::{Answers, record, solve, solved, state_of};
use crate::{
    Error, Result,
    card::{
        cells::{BareStripe, Levelled, PooledCell, Sampled},
        tones::{Tones, black::Zero, white::Level},
    },
    paint::{Record, file},
};

/// Standard deviation of a cell's mean that is assumed where the file does not keep it, in reflectance: that of a usual scan.
const USUAL_SCATTER: f64 = 0.001;

/// The record with constants, builds and verdict as this program fits them now. Label, answers, findings and everything that is not
/// known stay.
///
/// # Errors
/// [`Error::Refused`] where the file does not keep what the fit needs: the scan has to be read again.
pub fn again(kept: &Record) -> Result<Record> {
    let refused = |why: &str| {
        Err(Error::Refused(format!(
            "{why} Read its scan again on Cards instead."
        )))
    };
    if kept.cells.len() < 2 {
        return refused("This file keeps no cells of its card.");
    }
    // A clipped cell is a bound and no value; which bound, older files do not keep.
    let to_xyz = kept.basis.channels_to_xyz;
    if kept.cells.iter().any(|cell| {
        cell.clipped_share > solve::CLIPPED && (cell.clipped_channels.is_none() || to_xyz.is_none())
    }) {
        return refused(
            "Some of this card’s films are as light or as dark as its scan can be, and this older file does not keep which way.",
        );
    }
    // The cells of the file are at this level already.
    let Some(level) = Level::said(&kept.basis.white_reference) else {
        return refused("This file does not say what its white was measured by.");
    };
    let answers = Answers {
        dry: kept.dry.0.clone(),
        surface: kept.surface,
        sealed: kept.stripes.sealed,
        gauge: kept.gauge.clone(),
        white: match level {
            Level::Measured(lightness) => Some(lightness),
            Level::Scanner | Level::Usual(_) => None,
        },
        scanner: kept.provenance.scanner,
    };
    let films = kept.films.len();
    let zero = match &kept.basis.black_reference {
        Some(words) => Zero::said(words),
        // The scanner's own, and whether it is to be relied on the cells say; older files' cells were never moved.
        None => {
            let tones = Tones {
                level,
                zero: Zero::Scanner,
            };
            Some(match Zero::of(&sampled(kept, &answers, tones)) {
                Zero::Usual { .. } => Zero::Uncertain,
                other => other,
            })
        }
    };
    let Some(zero) = zero else {
        return refused("This file does not say what its black was measured by.");
    };
    let tones = Tones { level, zero };
    let sampled = sampled(kept, &answers, tones);
    let fit_card = super::card_for_fit(&sampled, films, &answers);
    let (state, solved) = solved(&sampled, films, &answers, state_of(&sampled, films), tones);
    let mut new = record(films, &sampled, &answers, state, &solved, &fit_card);
    for (cell, old) in new.cells.iter_mut().zip(&kept.cells) {
        cell.clipped_share = old.clipped_share;
        cell.clipped_channels = old.clipped_channels;
        cell.scatter = old.scatter;
    }
    new.basis.channels_to_xyz = to_xyz;
    new.paint = kept.paint.clone();
    new.film_weight = kept.film_weight;
    new.coats = kept.coats.clone();
    new.tints = kept.tints.clone();
    new.findings = kept.findings.clone();
    new.provenance = file::Provenance {
        program: new.provenance.program,
        ..kept.provenance.clone()
    };
    new.unknown = kept.unknown.clone();
    Ok(new)
}

/// The cells as they were measured. Films count as even and everything as levelled: the file keeps what came of that.
fn sampled(kept: &Record, answers: &Answers, tones: Tones) -> Sampled {
    const EQUAL: [[f64; 3]; 3] = [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]];
    let to_xyz = kept.basis.channels_to_xyz.unwrap_or(EQUAL);
    let from_xyz = Matrix3::from_fn(|i, j| to_xyz[i][j])
        .try_inverse()
        .unwrap_or_else(Matrix3::identity);
    let bare = |xyz: [f64; 3]| BareStripe {
        additive: xyz,
        xyz,
        xyz_sd: [USUAL_SCATTER; 3],
        clipped_low: [0.0; 3],
        clipped_high: [0.0; 3],
        pixels: 0,
    };
    let pooled = kept.cells.iter().map(|cell| {
        let [clipped_low, clipped_high, additive_sd] = cell.clipped_channels.unwrap_or_default();
        PooledCell {
            film: cell.film,
            ground: cell.ground,
            additive: (from_xyz * Vector3::from(cell.xyz)).into(),
            additive_sd,
            clipped_low,
            clipped_high,
            xyz: cell.xyz,
            xyz_sd: [0.0; 3],
            pixels: cell.pixels,
            rejected_share: cell.rejected_share,
        }
    });
    let mut sampled = Sampled {
        crossings: Vec::new(),
        pooled: pooled.collect(),
        white: bare(kept.stripes.white_xyz),
        black: bare(kept.stripes.black_xyz),
        evenness: vec![0.0; kept.films.len()],
        // Pictures that were planned with the card count in the film that it has counted in.
        units: (0..kept.films.len())
            .map(|film| film == kept.reference_film)
            .collect(),
        to_xyz,
        levelled: Levelled {
            shading: 0.0,
            glare: 0.0,
            black_differs: 0.0,
        },
    };
    let sds: Vec<[f64; 3]> = kept.cells.iter().map(|cell| cell.sd).collect();
    let usual = solve::scatter(&sampled, answers, tones, &sds, USUAL_SCATTER);
    for ((pooled, cell), usual) in sampled.pooled.iter_mut().zip(&kept.cells).zip(usual) {
        pooled.xyz_sd = cell.scatter.unwrap_or(usual);
    }
    sampled
}

#[cfg(test)]
mod tests {
    use std::{
        fs,
        path::{Path, PathBuf},
    };

    use super::*;
    use crate::{
        card::find,
        colour::{self, Lab},
        picture::{Ground, film_over},
        scan::decode,
        simulate::{render, troubles},
    };

    fn folder() -> PathBuf {
        Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-scans")
    }

    fn sample(name: &str) -> Record {
        let file = folder().join(format!("{name}.pigment.json"));
        let text = fs::read_to_string(file).expect("a sample");
        Record::read(&text).expect("a pigment file")
    }

    /// Largest CIEDE2000 between two readings of one card, as a share of the first one's range.
    fn apart(one: &Record, other: &Record) -> f64 {
        let (a, b) = (one.constants().unwrap(), other.constants().unwrap());
        let mut most: f64 = 0.0;
        for (film, again) in one.films.iter().zip(&other.films) {
            for l in [94.0, 55.0, 10.0] {
                let ground = Ground::of(Lab::new(l, 0.0, 0.0));
                let before = film_over(&a, film.build, &ground).unwrap();
                let after = film_over(&b, again.build, &ground).unwrap();
                most = most.max(colour::difference(before.lab, after.lab) / before.range);
            }
        }
        most
    }

    /// What is kept of a card is enough: its file alone gives the paint that its scan gave.
    #[test]
    fn the_cells_that_are_kept_give_the_paint_again() {
        for name in ["cliff-rose", "storm-blue", "rope-ochre"] {
            let kept = sample(name);
            let new = again(&kept).expect("it can be fitted");
            let share = apart(&kept, &new);
            assert!(share < 0.5, "{name}: {share}");
            assert_eq!(new.paint, kept.paint);
            assert_eq!(new.state, kept.state);
            assert_eq!(new.findings, kept.findings);
            assert_eq!(Record::read(&new.write()).unwrap(), new);
            // A second time changes nothing more.
            assert!(apart(&new, &again(&new).unwrap()) < 0.1, "{name}");
        }
    }

    /// Constants of an older fit are not looked at: only the cells are.
    #[test]
    fn an_older_fit_is_replaced() {
        let kept = sample("cliff-rose");
        let mut old = kept.clone();
        old.absorption.iter_mut().for_each(|k| *k *= 1.6);
        old.scattering.iter_mut().for_each(|s| *s *= 0.6);
        assert!(apart(&kept, &old) > 1.0);
        let (from_old, from_kept) = (again(&old).unwrap(), again(&kept).unwrap());
        assert_eq!(from_old.absorption, from_kept.absorption);
        assert_eq!(from_old.opacity, from_kept.opacity);
    }

    /// The cells were moved when the card was read; they are not moved again, and stay as uncertain.
    #[test]
    fn a_black_that_was_guessed_stays_guessed() {
        let zero = Zero::Usual { cut: false };
        let mut kept = sample("cliff-rose");
        kept.basis.black_reference = Some(zero.to_string());
        let new = again(&kept).expect("it can be fitted");
        assert_eq!(new.basis.black_reference, kept.basis.black_reference);
        for (cell, old) in new.cells.iter().zip(&kept.cells) {
            assert_eq!(cell.xyz, old.xyz);
            // Each channel is off by itself, and Y is made of all three.
            assert!(cell.sd[1] > 0.7 * zero.sds()[0], "{:?}", cell.sd);
        }
        kept.basis.black_reference = Some("some other black".into());
        let words = again(&kept).unwrap_err().to_string();
        assert!(words.contains("its black was measured by"), "{words}");
    }

    /// What belongs to the tube and not to its card's reading stays as it is.
    #[test]
    fn tints_of_the_tube_stay() {
        let mut kept = sample("cliff-rose");
        let tint = serde_json::json!({
            "with": {"name": "foam white"}, "parts": 1.0, "with_parts": 10.0, "by": "weight",
            "colour": {"lab": [80.0, 10.0, 2.0], "lab_sd": [0.5, 0.5, 0.5], "surface": "satin"}, "from": "a scrap",
        });
        kept.tints
            .push(serde_json::from_value(tint).expect("a tint"));
        assert_eq!(again(&kept).expect("it can be fitted").tints, kept.tints);
    }

    /// Where a scan's darks are cut off, the bounds are kept with the cells, in the scan's own channels.
    #[test]
    fn a_clipped_card_is_read_again_from_its_bounds() {
        let read = |bytes: &[u8]| {
            let scan = decode::decode(bytes, "scan").expect("a picture");
            let layouts = find::find(&scan).ok()?;
            let read = super::super::read_card(&scan, &layouts[0], &Answers::default()).ok()?;
            let kept = Record::read(&read.record.write()).expect("a pigment file");
            let low = kept.cells.iter().any(|cell| {
                let ends = cell.clipped_channels.unwrap_or_default();
                ends[0].iter().any(|share| *share > solve::CLIPPED)
            });
            (low && kept.constants().is_ok()).then_some(kept)
        };
        let amber = fs::read(folder().join("weed-amber.jpg")).expect("a sample");
        // Of cards drawn so the first that is read and has films beyond the end.
        let dark = (60..66).find_map(|seed| {
            let mut scene = troubles::plain(seed, 105.0);
            scene.scanner.offset = -0.05;
            read(&render(&scene).bytes().expect("a picture"))
        });
        for kept in [read(&amber), dark] {
            let kept = kept.expect("a clipped card");
            let new = again(&kept).expect("it can be fitted");
            let share = apart(&kept, &new);
            assert!(share < 0.5, "{share}");
            assert_eq!(new.state, kept.state);
            assert_eq!(Record::read(&new.write()).unwrap(), new);
            // And a second time.
            let share = apart(&new, &again(&new).unwrap());
            assert!(share < 0.1, "{share}");
        }
    }

    /// A light that was cut off says what is there at least, and does not pull the paint down to it.
    #[test]
    fn a_clipped_light_is_a_bound() {
        let whole = sample("cliff-rose");
        let mut cut = whole.clone();
        cut.cells[0].xyz[0] *= 0.8;
        // Taken at its word no paint is so.
        let word = again(&cut).expect("it can be fitted");
        assert_eq!(word.state, file::State::NotModelled);
        cut.basis.channels_to_xyz = Some([[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]]);
        cut.cells[0].clipped_share = 0.9;
        cut.cells[0].clipped_channels = Some([[0.0; 3], [0.9, 0.0, 0.0], [0.001; 3]]);
        let share = apart(&whole, &again(&cut).expect("it can be fitted"));
        assert!(share < 1.0, "{share}");
    }

    #[test]
    fn what_the_file_does_not_keep_is_said() {
        let mut clipped = sample("cliff-rose");
        clipped.cells[0].clipped_share = 0.4;
        let words = again(&clipped).unwrap_err().to_string();
        assert!(
            words.contains("as light or as dark as its scan can be")
                && words.contains("Read its scan again"),
            "{words}"
        );
        clipped.cells.clear();
        assert!(
            again(&clipped)
                .unwrap_err()
                .to_string()
                .contains("keeps no cells")
        );
    }
}
