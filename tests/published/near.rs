//! Comparing numbers and reading vectors.

/// Fails unless `actual` lies within `tolerance` of `expected`.
#[track_caller]
pub fn assert_near(actual: f64, expected: f64, tolerance: f64) {
    assert!(
        (actual - expected).abs() <= tolerance,
        "{actual} is not within {tolerance} of {expected}"
    );
}

/// Fails unless `actual` lies within the share `tolerance` of `expected`;
/// an expected zero must be met exactly.
#[track_caller]
pub fn assert_near_relative(actual: f64, expected: f64, tolerance: f64) {
    assert_near(actual, expected, tolerance * expected.abs());
}

/// The rows of a CSV with a header and `#` comments.
pub fn rows(text: &str) -> Vec<std::collections::HashMap<String, String>> {
    csv::ReaderBuilder::new()
        .comment(Some(b'#'))
        .from_reader(text.as_bytes())
        .deserialize()
        .collect::<Result<_, _>>()
        .expect("the vectors are a CSV")
}
