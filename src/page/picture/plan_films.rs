//! Names for the films of a plan that stay the same while others come and go.

use crate::picture::plan::Plan;

/// The film at a place: its tube, and how many films of that tube lie below it.
pub(super) fn key_of(plan: &Plan, film: usize) -> Option<String> {
    let tube = &plan.films.get(film)?.tube;
    let below = plan.films[..film]
        .iter()
        .filter(|f| f.tube == *tube)
        .count();
    Some(format!("{tube}#{below}"))
}
