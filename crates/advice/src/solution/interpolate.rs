//! Between the rows of a published table.

/// The value at `x` of a table of points in rising order, by the cubic through the four nearest (fewer where the table
/// has fewer). Published tables are smooth and their rows close, so that the cubic errs less than the last digit.
/// None outside the table, but for `margin` beyond its ends.
pub(super) fn cubic(points: &[(f64, f64)], x: f64, margin: f64) -> Option<f64> {
    let (first, last) = (points.first()?.0, points.last()?.0);
    if !(first - margin..=last + margin).contains(&x) {
        return None;
    }
    let above = points.partition_point(|point| point.0 < x);
    let width = points.len().min(4);
    let start = above.saturating_sub(2).min(points.len() - width);
    Some(lagrange(&points[start..start + width], x))
}

/// The polynomial through all points.
pub(super) fn lagrange(points: &[(f64, f64)], x: f64) -> f64 {
    let weight = |at: usize| -> f64 {
        let (own, value) = points[at];
        points
            .iter()
            .enumerate()
            .filter(|(other, _)| *other != at)
            .map(|(_, (other, _))| (x - other) / (own - other))
            .product::<f64>()
            * value
    };
    (0..points.len()).map(weight).sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_cubic_is_met_between_its_points_and_nothing_outside() {
        let cube = |x: f64| (x, x * x * x - 2.0 * x);
        let points = [0.0, 1.0, 3.0, 4.0, 7.0].map(cube);
        for x in [0.0, 0.5, 2.2, 3.0, 6.9, 7.0] {
            assert!((cubic(&points, x, 0.0).unwrap() - cube(x).1).abs() < 1e-9, "{x}");
        }
        assert_eq!(cubic(&points, 7.1, 0.0), None);
        assert!(cubic(&points, 7.1, 0.5).is_some());
        assert_eq!(cubic(&[], 1.0, 0.0), None);
    }
}
