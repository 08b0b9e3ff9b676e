//! Sorting by a number.
//!
//! Every closure that is handed to a sort of the standard library makes another copy of the whole algorithm, about 6 kB of the page
//! each. Here there is one.

/// Places of the numbers from the least to the greatest, equal ones as they stand.
pub(crate) fn order(numbers: &[f64]) -> Vec<usize> {
    let mut order: Vec<usize> = (0..numbers.len()).collect();
    order.sort_unstable_by(|&i, &j| numbers[i].total_cmp(&numbers[j]).then(i.cmp(&j)));
    order
}

/// Sorts by a number, least first; equal ones stay as they stand.
pub(crate) fn sort_by_number<T>(items: &mut Vec<T>, number: impl Fn(&T) -> f64) {
    let numbers: Vec<f64> = items.iter().map(number).collect();
    let mut taken: Vec<Option<T>> = items.drain(..).map(Some).collect();
    items.extend(
        order(&numbers)
            .into_iter()
            .filter_map(|place| taken[place].take()),
    );
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
        }
    }
}
