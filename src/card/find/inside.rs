//! Stripes between corners that the painter gave.

use super::{
    bars::median,
    picture::{Picture, brightest},
    stripes::{Levels, runs},
};
use crate::card::rectify::Frame;

/// Rows and columns looked at.
const ROWS: usize = 240;
const COLUMNS: usize = 480;

/// Black stripes of a squared card, as left and right edges across it, with the levels of bare black and white.
/// `None` if there is no black stripe with white beside it.
pub(super) fn stripes(
    picture: &Picture,
    frame: &Frame,
    size: [f64; 2],
) -> Option<(Vec<[f64; 2]>, Levels)> {
    let rows: Vec<Vec<[f32; 3]>> = (0..ROWS).map(|r| row(picture, frame, size, r)).collect();
    let mut all: Vec<f32> = rows.iter().flatten().map(brightest).collect();
    all.sort_unstable_by(f32::total_cmp);
    let at = |share: f64| all[((all.len() - 1) as f64 * share) as usize];
    let (dark, bright) = (at(0.02), at(0.95));
    if bright - dark < 0.08 {
        return None;
    }
    let bare = bare_rows(&rows, (dark + bright) / 2.0);
    let profile: Vec<[f32; 3]> = (0..COLUMNS)
        .map(|c| {
            std::array::from_fn(|k| {
                median(&mut bare.iter().map(|&r| rows[r][c][k]).collect::<Vec<_>>())
            })
        })
        .collect();
    let levels = levels(&profile, (dark + bright) / 2.0)?;
    let blacks = blacks(&profile, &levels, size[0] / COLUMNS as f64);
    (!blacks.is_empty()).then_some((blacks, levels))
}

fn row(picture: &Picture, frame: &Frame, size: [f64; 2], row: usize) -> Vec<[f32; 3]> {
    let v = (row as f64 + 0.5) / ROWS as f64 * size[1];
    let place = |c: usize| frame.to_scan([(c as f64 + 0.5) / COLUMNS as f64 * size[0], v]);
    (0..COLUMNS)
        .map(place)
        .map(|[x, y]| picture.sample(x, y))
        .collect()
}

/// Rows that show the pattern of dark and bright which most rows share. Bare rows and rows under clear films share it;
/// rows under hiding films have no pattern or one of their own.
fn bare_rows(rows: &[Vec<[f32; 3]>], middle: f32) -> Vec<usize> {
    let patterns: Vec<Vec<bool>> = rows
        .iter()
        .map(|r| r.iter().map(|c| brightest(c) < middle).collect())
        .collect();
    let differ = |a: usize, b: usize| {
        patterns[a]
            .iter()
            .zip(&patterns[b])
            .filter(|(x, y)| x != y)
            .count()
    };
    let same = |a: usize| {
        (0..ROWS)
            .filter(|&b| differ(a, b) * 25 < COLUMNS)
            .collect::<Vec<_>>()
    };
    let mixed = |a: &usize| {
        let dark = patterns[*a].iter().filter(|d| **d).count();
        dark * 20 > COLUMNS && dark * 20 < COLUMNS * 19
    };
    // The first and the last rows of a card are bare; between equals the earlier row wins.
    let groups = (0..ROWS).filter(mixed).map(same);
    groups.fold(Vec::new(), |best, group| {
        if group.len() > best.len() {
            group
        } else {
            best
        }
    })
}

fn levels(profile: &[[f32; 3]], middle: f32) -> Option<Levels> {
    let is_dark = |c: &&[f32; 3]| brightest(c) < middle;
    let mut darks: Vec<f32> = profile.iter().filter(is_dark).map(brightest).collect();
    let whites: Vec<[f32; 3]> = profile.iter().filter(|c| !is_dark(c)).copied().collect();
    if darks.is_empty() || whites.is_empty() {
        return None;
    }
    let white =
        std::array::from_fn(|k| median(&mut whites.iter().map(|c| c[k]).collect::<Vec<_>>()));
    Some(Levels {
        black: median(&mut darks),
        white,
    })
}

/// Dark runs of the profile, with edges where it crosses the middle; the card's own border where a run reaches it.
fn blacks(profile: &[[f32; 3]], levels: &Levels, step: f64) -> Vec<[f64; 2]> {
    let bright: Vec<f32> = profile.iter().map(brightest).collect();
    let middle = levels.between(0.5);
    let dark = runs(&bright, |b| b < middle);
    let mut lengths: Vec<f32> = dark.iter().map(|r| (r[1] - r[0]) as f32).collect();
    let typical = median(&mut lengths);
    // Between the columns before and at `i`.
    let crossing = |i: usize| {
        let (a, b) = (bright[i - 1], bright[i]);
        (i as f64 - 0.5 + f64::from((middle - a) / (b - a))) * step
    };
    let edge = |i: usize| {
        if i == 0 {
            0.0
        } else if i == COLUMNS {
            COLUMNS as f64 * step
        } else {
            crossing(i)
        }
    };
    let stripe = |r: &&[usize; 2]| (r[1] - r[0]) as f32 > 0.4 * typical;
    dark.iter()
        .filter(stripe)
        .map(|r| [edge(r[0]), edge(r[1])])
        .collect()
}
