//! Where a falling function crosses nought, by interpolation, truncation and projection: never many more steps than by
//! halving, and on charge balances, which span powers of ten, a third of them (I. F. D. Oliveira and R. H. C. Takahashi, An
//! Enhancement of the Bisection Method Average Performance Preserving Minmax Optimality, ACM Transactions on Mathematical
//! Software 47, 2020; from memory).

/// What is left of an interval, as part of its greater end.
const CLOSE: f64 = 1e-14;
/// Steps that may be made beyond those of halving.
const SPARE: i32 = 1;

/// Between two ends; none when it does not cross between them.
pub(crate) fn falling<E>(
    mut value: impl FnMut(f64) -> Result<f64, E>,
    mut low: f64,
    mut high: f64,
) -> Result<Option<f64>, E> {
    let (mut at_low, mut at_high) = (value(low)?, value(high)?);
    if at_low < 0.0 || at_high > 0.0 {
        return Ok(None);
    }
    let close = (CLOSE * low.abs().max(high.abs())).max(f64::MIN_POSITIVE);
    let truncated = 0.2 / (high - low);
    let most = ((high - low) / (2.0 * close)).log2().ceil() as i32 + SPARE;
    for step in 0..most {
        if high - low <= 2.0 * close {
            break;
        }
        let middle = 0.5 * (low + high);
        let reach = close * 2f64.powi(most - step) - 0.5 * (high - low);
        let crossing = (at_high * low - at_low * high) / (at_high - at_low);
        // A value that is not finite tells no slope.
        let crossing = if crossing.is_finite() { crossing } else { middle };
        let towards = (middle - crossing).signum();
        let by = truncated * (high - low).powi(2);
        let moved = if by <= (middle - crossing).abs() { crossing + towards * by } else { middle };
        let at = if (moved - middle).abs() <= reach { moved } else { middle - towards * reach };
        let found = value(at)?;
        if found > 0.0 {
            (low, at_low) = (at, found);
        } else {
            (high, at_high) = (at, found);
        }
    }
    Ok(Some(0.5 * (low + high)))
}

/// From nought upward; none when it does not cross up to the limit. The upper end is found by doubling, so that the
/// function is not asked far beyond the answer, where it may fail.
pub(crate) fn falling_from_nought<E>(
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
