//! Where the drawing is lost: places that had a contrast before the films and have hardly any after.

/// Contrasts that are looked at lie this many places apart at most.
const REACH: usize = 5;
/// Least contrast that counts as drawing, and the most that is left where it is lost: in L*, and as a share (all ours).
const DRAWN: f32 = 5.0;
const LEFT: f32 = 1.5;
const LEFT_SHARE: f32 = 0.25;

/// Whether the drawing is lost at every place; L* before and after the films, rows of `width`.
pub fn lost(before: &[f32], after: &[f32], width: usize) -> Vec<bool> {
    let (before, after) = (contrast(before, width), contrast(after, width));
    before
        .iter()
        .zip(&after)
        .map(|(was, is)| *was >= DRAWN && *is <= LEFT.max(LEFT_SHARE * was))
        .collect()
}

/// At how many places there is any drawing.
pub fn drawn(before: &[f32], width: usize) -> usize {
    contrast(before, width)
        .iter()
        .filter(|was| **was >= DRAWN)
        .count()
}

/// Largest less smallest value around every place.
fn contrast(values: &[f32], width: usize) -> Vec<f32> {
    let high = around(values, width, f32::max);
    let low = around(values, width, f32::min);
    high.iter().zip(&low).map(|(h, l)| h - l).collect()
}

fn around(values: &[f32], width: usize, choose: fn(f32, f32) -> f32) -> Vec<f32> {
    let height = values.len() / width;
    let mut across = values.to_vec();
    for (row, out) in values.chunks(width).zip(across.chunks_mut(width)) {
        for (x, out) in out.iter_mut().enumerate() {
            let near = &row[x.saturating_sub(REACH)..(x + REACH + 1).min(width)];
            *out = near.iter().copied().fold(near[0], choose);
        }
    }
    let mut both = across.clone();
    for y in 0..height {
        let near = y.saturating_sub(REACH)..(y + REACH + 1).min(height);
        for other in near {
            for x in 0..width {
                both[y * width + x] = choose(both[y * width + x], across[other * width + x]);
            }
        }
    }
    both
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_edge_that_goes_is_lost_and_a_flat_field_is_not() {
        let width = 60;
        let edge = |light: f32, dark: f32| -> Vec<f32> {
            (0..width * 20)
                .map(|i| if i % width < 30 { light } else { dark })
                .collect()
        };
        let gone = lost(&edge(80.0, 50.0), &edge(31.0, 30.0), width);
        let near = |x: usize| (30 - REACH..30 + REACH).contains(&x);
        assert!(gone.iter().enumerate().all(|(i, l)| *l == near(i % width)));
        assert!(!lost(&edge(80.0, 50.0), &edge(60.0, 40.0), width).contains(&true));
        assert!(!lost(&edge(50.0, 50.0), &edge(30.0, 30.0), width).contains(&true));
    }
}
