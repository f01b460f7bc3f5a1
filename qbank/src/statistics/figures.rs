//! The formulas of item statistics, on whole-number sums.
//!
//! Everything is a fraction of big integers, so that a figure is the same on every machine. Only square roots cannot be
//! fractions: they are worked to [`ROOT_PLACES`] places, rounded down, and figures are rounded, half away from zero,
//! only when they are written. So a written figure of 4 places is the exact one but for ties that are closer than
//! 10^-20 to the middle.
//!
//! Conventions, because textbooks differ: an item's and the total's variances have the same divisor, so that KR-20 *is*
//! Cronbach's alpha of right-or-wrong steps; the standard error of measurement takes the sample's deviation (n - 1).
//! There are no tests of significance and no intervals but Wilson's here.
use alloc::{
    format,
    string::{String, ToString},
};

use num_bigint::BigInt;
use num_rational::BigRational;
use num_traits::{Signed, Zero};
use serde::{Serialize, Serializer};

/// Places of a square root.
pub const ROOT_PLACES: u32 = 24;
/// Places of a figure in records.
pub const PLACES: u32 = 4;
/// The standard normal deviate of a two-sided 95 % interval, 1.959963984540054, in units of its last place.
const Z: (i64, u32) = (1_959_963_984_540_054, 15);

/// A number that a statistic comes to.
///
/// # Example
/// ```
/// use qbank::statistics::Figure;
/// assert_eq!(Figure::ratio(2, 3).written(4), "0.6667");
/// assert_eq!(Figure::ratio(-1, 8).written(2), "-0.13");
/// ```
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Figure(BigRational);

impl Figure {
    /// The fraction.
    ///
    /// # Panics
    /// If `of` is zero.
    #[must_use]
    pub fn ratio(part: i128, of: i128) -> Self {
        Self(BigRational::new(part.into(), of.into()))
    }

    /// The mean of `n` values by their sum.
    ///
    /// # Panics
    /// If there are none.
    #[must_use]
    pub fn mean(sum: u128, n: u64) -> Self {
        Self(BigRational::new(sum.into(), n.into()))
    }

    /// The sum of two figures.
    #[must_use]
    pub fn plus(&self, other: &Self) -> Self {
        Self(&self.0 + &other.0)
    }

    /// The figure with so many places after the point, halves away from zero.
    #[must_use]
    pub fn written(&self, places: u32) -> String {
        let scaled = (&self.0 * BigRational::from(power_of_ten(places))).round().to_integer();
        let sign = if scaled.is_negative() { "-" } else { "" };
        let places = places as usize;
        let digits = format!("{:0>width$}", scaled.abs().to_string(), width = places + 1);
        let (whole, part) = digits.split_at(digits.len() - places);
        if places == 0 { format!("{sign}{whole}") } else { format!("{sign}{whole}.{part}") }
    }

    /// The square root, or `None` of a negative figure.
    #[must_use]
    pub fn root(&self) -> Option<Self> {
        let units = (&self.0 * BigRational::from(power_of_ten(2 * ROOT_PLACES))).floor().to_integer();
        let root = units.to_biguint()?.sqrt();
        Some(Self(BigRational::new(root.into(), power_of_ten(ROOT_PLACES))))
    }
}

impl Serialize for Figure {
    /// A decimal string of [`PLACES`] places, never a float.
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_str(&self.written(PLACES))
    }
}

fn power_of_ten(places: u32) -> BigInt {
    BigInt::from(10).pow(places)
}

fn whole(number: impl Into<BigInt>) -> BigRational {
    BigRational::from(number.into())
}

/// By what a sum of squared deviations is divided.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Divisor {
    /// n: the variance of these pupils.
    Population,
    /// n - 1: the estimate for pupils like these.
    Sample,
}

/// Sums over pairs of points, such as a step's and the total of the same pupil.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct PairSums {
    /// How many pairs.
    pub n: u64,
    /// Sum of the firsts.
    pub x: u128,
    /// Sum of the seconds.
    pub y: u128,
    /// Sum of the firsts' squares.
    pub xx: u128,
    /// Sum of the seconds' squares.
    pub yy: u128,
    /// Sum of the products.
    pub xy: u128,
}

impl PairSums {
    /// Adds a pair.
    pub fn add(&mut self, x: u64, y: u64) {
        let (x, y) = (u128::from(x), u128::from(y));
        self.n += 1;
        self.x += x;
        self.y += y;
        self.xx += x * x;
        self.yy += y * y;
        self.xy += x * y;
    }

    /// The sums of the same firsts with the rest, second less first: of a step and the total *without* it.
    #[must_use]
    pub fn with_rest(&self) -> Self {
        Self { y: self.y - self.x, yy: self.yy + self.xx - 2 * self.xy, xy: self.xy - self.xx, ..*self }
    }

    /// Pearson's correlation, which is the point-biserial one where the firsts are 0 and 1; `None` where firsts or
    /// seconds are all alike.
    #[must_use]
    pub fn correlation(&self) -> Option<Figure> {
        let together = scatter(self.n, self.xy, self.x, self.y);
        let apart = scatter(self.n, self.xx, self.x, self.x) * scatter(self.n, self.yy, self.y, self.y);
        if apart.is_zero() {
            return None;
        }
        let size = Figure(BigRational::new(together.pow(2), apart)).root()?.0;
        Some(Figure(if together.is_negative() { -size } else { size }))
    }

    /// Variance of the firsts.
    #[must_use]
    pub fn variance(&self, divisor: Divisor) -> Option<Figure> {
        variance(self.n, self.x, self.xx, divisor)
    }
}

/// n times the sum of products less the product of sums.
fn scatter(n: u64, products: u128, x: u128, y: u128) -> BigInt {
    BigInt::from(n) * BigInt::from(products) - BigInt::from(x) * BigInt::from(y)
}

/// Variance of `n` values by their sum and the sum of their squares; `None` of too few.
#[must_use]
pub fn variance(n: u64, sum: u128, squares: u128, divisor: Divisor) -> Option<Figure> {
    let by = match divisor {
        Divisor::Population => n,
        Divisor::Sample => n.checked_sub(1)?,
    };
    (by > 0).then(|| {
        let by = BigInt::from(n) * BigInt::from(by);
        Figure(BigRational::new(scatter(n, squares, sum, sum), by))
    })
}

/// Cronbach's alpha of `steps` steps by the sum of their variances and the variance of the total, both with the same
/// divisor; `None` of fewer than two steps or where all totals are alike. Of right-or-wrong steps it is KR-20.
#[must_use]
pub fn alpha(steps: u64, variances: &Figure, total: &Figure) -> Option<Figure> {
    let less = steps.checked_sub(1).filter(|less| *less > 0)?;
    if total.0.is_zero() {
        return None;
    }
    let shared = whole(1) - &variances.0 / &total.0;
    Some(Figure(BigRational::new(steps.into(), less.into()) * shared))
}

/// KR-21 by the number of right-or-wrong steps, the mean and the variance of the total: KR-20 if all steps were
/// equally hard, so never more than that with the population's variance.
#[must_use]
pub fn kr21(steps: u64, mean: &Figure, variance: &Figure) -> Option<Figure> {
    let steps_whole = whole(steps);
    let variances = &mean.0 * (&steps_whole - &mean.0) / steps_whole;
    alpha(steps, &Figure(variances), variance)
}

/// The standard error of measurement, deviation times the root of (1 - reliability), by the variance of the total;
/// `None` of a reliability over 1.
#[must_use]
pub fn standard_error(variance: &Figure, reliability: &Figure) -> Option<Figure> {
    Figure(&variance.0 * (whole(1) - &reliability.0)).root()
}

/// How many more of the upper than of the lower group got a step right, as a share of a group.
///
/// # Panics
/// If a group is empty.
#[must_use]
pub fn upper_lower(upper_right: u32, lower_right: u32, group: u32) -> Figure {
    Figure::ratio(i128::from(upper_right) - i128::from(lower_right), group.into())
}

/// Wilson's 95 % interval around a share that was seen in `n` answers; `None` if there are none.
///
/// For shares of points with part credit it is at least as wide as it must be: no value between 0 and 1 varies more
/// than right-or-wrong does.
///
/// # Example
/// ```
/// use qbank::statistics::{Figure, wilson};
/// let (low, high) = wilson(&Figure::ratio(3, 5), 5).ok_or("there are answers")?;
/// assert_eq!((low.written(2), high.written(2)), ("0.23".into(), "0.88".into()));
/// # Ok::<(), &str>(())
/// ```
#[must_use]
pub fn wilson(share: &Figure, n: u64) -> Option<(Figure, Figure)> {
    if n == 0 {
        return None;
    }
    let n = whole(n);
    let z = BigRational::new(Z.0.into(), power_of_ten(Z.1));
    let zz = &z * &z;
    let widened = whole(1) + &zz / &n;
    let middle = (&share.0 + &zz / (whole(2) * &n)) / &widened;
    let spread = &share.0 * (whole(1) - &share.0) / &n + &zz / (whole(4) * &n * &n);
    let half = z * Figure(spread).root()?.0 / widened;
    Some((Figure(&middle - &half), Figure(middle + half)))
}
