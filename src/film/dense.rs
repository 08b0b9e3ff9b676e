//! Small square matrices for the transport's inner loop.
//!
//! Ours and not a library's: the size is fixed at compile time, every product sums in one order on every machine (so
//! that a browser prints the digits of a native run), and the loops over columns vectorise. They are called and not copied to where they
//! are used: a call is nothing beside a product, and copies made the page's WebAssembly a good deal larger.

/// Rows of a square matrix.
pub(super) type Square<const N: usize> = [[f64; N]; N];

pub(super) fn zero<const N: usize>() -> Square<N> {
    [[0.0; N]; N]
}

pub(super) fn identity<const N: usize>() -> Square<N> {
    std::array::from_fn(|i| std::array::from_fn(|j| if i == j { 1.0 } else { 0.0 }))
}

#[inline(never)]
pub(super) fn product<const N: usize>(a: &Square<N>, b: &Square<N>) -> Square<N> {
    let mut c = zero();
    for i in 0..N {
        for k in 0..N {
            let f = a[i][k];
            for j in 0..N {
                c[i][j] += f * b[k][j];
            }
        }
    }
    c
}

/// a^T b.
#[inline(never)]
pub(super) fn transposed_product<const N: usize>(a: &Square<N>, b: &Square<N>) -> Square<N> {
    let mut c = zero();
    for k in 0..N {
        for i in 0..N {
            let f = a[k][i];
            for j in 0..N {
                c[i][j] += f * b[k][j];
            }
        }
    }
    c
}

#[inline(never)]
pub(super) fn apply<const N: usize>(a: &Square<N>, v: &[f64; N]) -> [f64; N] {
    std::array::from_fn(|i| dot(&a[i], v))
}

pub(super) fn dot<const N: usize>(a: &[f64; N], b: &[f64; N]) -> f64 {
    a.iter().zip(b).map(|(x, y)| x * y).sum()
}

/// Lower factor of a symmetric positive definite matrix, in place of its lower triangle.
#[inline(never)]
pub(super) fn cholesky<const N: usize>(m: &mut Square<N>) {
    for j in 0..N {
        for k in 0..j {
            let f = m[j][k];
            for i in j..N {
                m[i][j] -= m[i][k] * f;
            }
        }
        // Rounding may push a conservative, very thick film to the edge of positive definiteness.
        let pivot = m[j][j].max(f64::MIN_POSITIVE).sqrt();
        for i in j..N {
            m[i][j] /= pivot;
        }
    }
}

/// Solves L X = B for lower triangular L, in place of B.
#[inline(never)]
pub(super) fn forward_solve<const N: usize>(l: &Square<N>, b: &mut Square<N>) {
    for i in 0..N {
        for k in 0..i {
            let f = l[i][k];
            let (done, rest) = b.split_at_mut(i);
            for j in 0..N {
                rest[0][j] -= f * done[k][j];
            }
        }
        let d = 1.0 / l[i][i];
        b[i].iter_mut().for_each(|v| *v *= d);
    }
}

/// Solves A X = B by elimination with row pivoting. The matrices here (I - reflection x reflection) are never singular
/// as long as the reflections lose some light.
pub(super) fn solve<const N: usize>(a: Square<N>, b: Square<N>) -> Square<N> {
    solve_both(a, b, [0.0; N]).0
}

/// The same for the columns of B and one column beside them.
#[inline(never)]
pub(super) fn solve_both<const N: usize, const M: usize>(
    mut a: Square<N>,
    mut b: [[f64; M]; N],
    mut v: [f64; N],
) -> ([[f64; M]; N], [f64; N]) {
    for col in 0..N {
        let best = (col..N)
            .max_by(|&i, &j| a[i][col].abs().total_cmp(&a[j][col].abs()))
            .unwrap_or(col);
        a.swap(col, best);
        b.swap(col, best);
        v.swap(col, best);
        let d = 1.0 / a[col][col];
        for row in col + 1..N {
            let f = a[row][col] * d;
            for j in col..N {
                a[row][j] -= f * a[col][j];
            }
            for j in 0..M {
                b[row][j] -= f * b[col][j];
            }
            v[row] -= f * v[col];
        }
    }
    for col in (0..N).rev() {
        let d = 1.0 / a[col][col];
        b[col].iter_mut().for_each(|v| *v *= d);
        v[col] *= d;
        for row in 0..col {
            let f = a[row][col];
            for j in 0..M {
                b[row][j] -= f * b[col][j];
            }
            v[row] -= f * v[col];
        }
    }
    (b, v)
}
