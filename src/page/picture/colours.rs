//! Underpainting colours: where they come from.

use serde_json::Map;

use crate::{
    Result,
    paint::file::Surface,
    picture::{
        mix,
        plan::{Colour, Source},
    },
};

use super::Tube;

/// An exactly known glossy colour.
pub(super) fn plain(name: &str, lab: [f64; 3], source: Source) -> Colour {
    Colour {
        name: name.to_owned(),
        lab,
        lab_sd: [0.0; 3],
        surface: Surface::Glossy,
        source,
        spectrum: None,
        unknown: Map::new(),
    }
}

/// Greys from light to dark in equal steps of L*, numbered on from those that are there.
pub(super) fn ladder(count: usize, light: f64, dark: f64, beside: &[Colour]) -> Vec<Colour> {
    let number = |colour: &Colour| colour.name.strip_prefix("grey ")?.parse::<usize>().ok();
    let last = beside.iter().filter_map(number).max().unwrap_or(0).min(999);
    (0..count)
        .map(|i| {
            let l = light + (dark - light) * i as f64 / (count.max(2) - 1) as f64;
            plain(
                &format!("grey {}", last + i + 1),
                [l, 0.0, 0.0],
                Source::Ladder,
            )
        })
        .collect()
}

/// The colour of a tube too thick to see through, with its spectrum and its uncertainty.
pub(super) fn masstone(tube: &Tube) -> Result<Colour> {
    let seen = mix::too_thick(&tube.constants);
    let (lab, spread) = seen.lab_with_spread(&tube.constants.covariance);
    Ok(Colour {
        lab: [lab.l, lab.a, lab.b],
        lab_sd: std::array::from_fn(|i| spread[(i, i)].max(0.0).sqrt().min(50.0)),
        spectrum: Some(seen.reflectance.map(|r| r.clamp(0.0, 1.0)).to_vec()),
        ..plain(
            &format!("{} masstone", tube.name()),
            [0.0; 3],
            Source::Masstone {
                tube: tube.name().to_owned(),
            },
        )
    })
}

/// How well a colour may be known that was not read from anything: words, and standard deviations of L*, a*, b*. Those of
/// the eye are a guess, those of an instrument what two of them differ by on uneven paint (both ours).
pub(super) const KNOWN: [(&str, [f64; 3]); 3] = [
    ("judged by eye", [4.0; 3]),
    ("by an instrument", [0.5; 3]),
    ("exactly this, as planned", [0.0; 3]),
];

/// Whether a colour was read from something that says how surely.
pub(super) fn is_read(source: &Source) -> bool {
    matches!(source, Source::Masstone { .. } | Source::Picked { .. })
}

/// Which of [`KNOWN`] a colour is.
pub(super) fn known(colour: &Colour) -> Option<usize> {
    let is = |(_, sd): &(&str, [f64; 3])| *sd == colour.lab_sd && !is_read(&colour.source);
    KNOWN.iter().position(is)
}

/// Where a colour came from, in words.
pub(super) fn source_words(source: &Source) -> String {
    match source {
        Source::Typed => "typed".to_owned(),
        Source::Ladder => "ladder of greys".to_owned(),
        Source::Given => "came with the picture".to_owned(),
        Source::Masstone { tube } => format!("masstone of {tube}"),
        Source::Picked {
            file,
            photo,
            pixels,
            card,
            ..
        } => {
            let wider = if *photo {
                "; a photo, so the range is wider"
            } else {
                ""
            };
            match card {
                Some(card) => format!(
                    "painted on card {card:04}, read from {file}, average of {pixels} pixels{wider}"
                ),
                None => format!("picked from {file}, average of {pixels} pixels{wider}"),
            }
        }
    }
}
