//! Sorting by a number, or by any comparison.
//!
//! Every closure that is handed to a sort of the standard library makes another copy of the whole algorithm, about 6 kB of the page
//! each. Here there is one.

use std::cmp::Ordering;

/// Places of so many items from the least to the greatest, equal ones as they stand.
fn order_by(count: usize, compare: &dyn Fn(usize, usize) -> Ordering) -> Vec<usize> {
    let mut order: Vec<usize> = (0..count).collect();
    order.sort_unstable_by(|&i, &j| compare(i, j).then(i.cmp(&j)));
    order
}

/// Places of the numbers from the least to the greatest, equal ones as they stand.
pub(crate) fn order(numbers: &[f64]) -> Vec<usize> {
    order_by(numbers.len(), &|i, j| numbers[i].total_cmp(&numbers[j]))
}

/// The items at these places, which name each of them once.
fn taken<T>(items: &mut Vec<T>, order: Vec<usize>) {
    let mut taken: Vec<Option<T>> = items.drain(..).map(Some).collect();
    items.extend(order.into_iter().filter_map(|place| taken[place].take()));
}

/// Sorts by a comparison; equal ones stay as they stand.
pub(crate) fn sort_by<T>(items: &mut Vec<T>, compare: &dyn Fn(&T, &T) -> Ordering) {
    let order = order_by(items.len(), &|i, j| compare(&items[i], &items[j]));
    taken(items, order);
}

/// Sorts by a number, least first; equal ones stay as they stand.
pub(crate) fn sort_by_number<T>(items: &mut Vec<T>, number: impl Fn(&T) -> f64) {
    let numbers: Vec<f64> = items.iter().map(number).collect();
    taken(items, order(&numbers));
}

#[cfg(test)]
mod tests {
    use super::*;

    proptest::proptest! {
        #[test]
        fn as_the_standard_library_sorts(
            mut items in proptest::collection::vec((proptest::num::f64::ANY, 0..5_u8), 0..40),
        ) {
            // Many alike, to see that they stay as they stand.
            items.iter_mut().for_each(|item| if item.1 > 1 { item.0 = f64::from(item.1) });
            let bits = |items: &[(f64, u8)]| items.iter().map(|i| (i.0.to_bits(), i.1)).collect::<Vec<_>>();
            let mut expected = items.clone();
            expected.sort_by(|a, b| a.0.total_cmp(&b.0));
            sort_by_number(&mut items, |item| item.0);
            proptest::prop_assert_eq!(bits(&items), bits(&expected));
            items.reverse();
            expected.reverse();
            expected.sort_by_key(|item| item.1);
            sort_by(&mut items, &|a, b| a.1.cmp(&b.1));
            proptest::prop_assert_eq!(bits(&items), bits(&expected));
        }
    }
}
