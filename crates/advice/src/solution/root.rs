//! Where a falling function crosses nought. Bisection: charge balances span many powers of ten, where faster methods
//! need guards longer than this.

/// Between two ends; none when it does not cross between them.
pub(super) fn falling<E>(
    mut value: impl FnMut(f64) -> Result<f64, E>,
    mut low: f64,
    mut high: f64,
) -> Result<Option<f64>, E> {
    if value(low)? < 0.0 || value(high)? > 0.0 {
        return Ok(None);
    }
    // Halved so often, any interval is at the last digit of its middle.
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        if value(middle)? > 0.0 {
            low = middle;
        } else {
            high = middle;
        }
    }
    Ok(Some(0.5 * (low + high)))
}

/// From nought upward; none when it does not cross up to the limit. The upper end is found by doubling, so that the
/// function is not asked far beyond the answer, where it may fail.
pub(super) fn falling_from_nought<E>(
    mut value: impl FnMut(f64) -> Result<f64, E>,
    limit: f64,
) -> Result<Option<f64>, E> {
    if value(0.0)? < 0.0 {
        return Ok(None);
    }
    let (mut low, mut high) = (0.0, 1e-3_f64.min(limit));
    while value(high)? > 0.0 {
        if high >= limit {
            return Ok(None);
        }
        (low, high) = (high, (2.0 * high).min(limit));
    }
    falling(value, low, high)
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::convert::Infallible;

    #[test]
    fn a_crossing_is_found_to_the_last_digits() {
        let square = |x: f64| Ok::<_, Infallible>(2.0 - x * x);
        let Ok(found) = falling_from_nought(square, 100.0);
        assert!((found.unwrap() - 2f64.sqrt()).abs() < 1e-12);
    }

    #[test]
    fn what_never_crosses_has_none() {
        assert_eq!(falling_from_nought(|_| Ok::<_, Infallible>(1.0), 100.0), Ok(None));
        assert_eq!(falling_from_nought(|_| Ok::<_, Infallible>(-1.0), 100.0), Ok(None));
        assert_eq!(falling(|x| Ok::<_, Infallible>(3.0 - x), 0.0, 2.0), Ok(None));
    }
}
