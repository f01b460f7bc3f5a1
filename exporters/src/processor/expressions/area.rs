//! Areas on a picture, and whether points lie in them.
use super::wrong_type;
use crate::processor::{
    document::Element,
    fault::{Fault, Reason},
    value::{Scalar, Value},
};

/// A shape with its coordinates.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Area {
    /// Everywhere.
    Everywhere,
    /// Left, top, right, bottom.
    Rectangle([i64; 4]),
    /// Centre and radius.
    Circle([i64; 3]),
    /// Corners.
    Polygon(Vec<(i64, i64)>),
    /// Centre, half width and half height.
    Ellipse([i64; 4]),
}

impl Area {
    /// Reads the attributes `shape` and `coords`.
    ///
    /// # Errors
    /// [`Fault`] for another shape or number of coordinates.
    pub(crate) fn read(element: Element<'_>) -> Result<Self, Fault> {
        let shape = element.required("shape")?;
        let coords = element.attribute("coords").unwrap_or_default();
        let numbers = coords.split([',', ' ']).filter(|word| !word.is_empty()).map(str::parse::<i32>);
        let numbers: Option<Vec<i64>> = numbers.map(|number| number.ok().map(i64::from)).collect();
        let numbers = numbers.ok_or_else(|| element.strange("coords", coords, "whole numbers"))?;
        let area = match shape {
            "default" => Some(Self::Everywhere),
            "rect" => numbers.try_into().ok().map(Self::Rectangle),
            "circle" => numbers.try_into().ok().map(Self::Circle),
            "ellipse" => numbers.try_into().ok().map(Self::Ellipse),
            "poly" => {
                let corners = numbers.chunks_exact(2).map(|pair| (pair[0], pair[1])).collect();
                Some(Self::Polygon(corners)).filter(|_| numbers.len() >= 6 && numbers.len() % 2 == 0)
            }
            _ => return Err(element.strange("shape", shape, "one of default, rect, circle, ellipse, poly")),
        };
        area.ok_or_else(|| element.strange("coords", coords, "as many numbers as the shape takes"))
    }

    /// Whether a point lies in it, its edge with it.
    #[must_use]
    pub(crate) fn holds(&self, x: i32, y: i32) -> bool {
        let (x, y) = (i64::from(x), i64::from(y));
        match self {
            Self::Everywhere => true,
            Self::Rectangle([left, top, right, bottom]) => {
                (*left..=*right).contains(&x) && (*top..=*bottom).contains(&y)
            }
            Self::Circle([h, v, radius]) => {
                let square = |number: i64| i128::from(number) * i128::from(number);
                square(x - h) + square(y - v) <= square(*radius)
            }
            Self::Ellipse([h, v, width, height]) => {
                let square = |number: i64| i128::from(number) * i128::from(number);
                let (width, height) = (square(*width), square(*height));
                square(x - h)
                    .checked_mul(height)
                    .zip(square(y - v).checked_mul(width))
                    .and_then(|(one, other)| Some(one.checked_add(other)? <= width.checked_mul(height)?))
                    .unwrap_or(false)
            }
            Self::Polygon(corners) => in_polygon(corners, x, y),
        }
    }
}

/// Counts the edges to the right of the point.
fn in_polygon(corners: &[(i64, i64)], x: i64, y: i64) -> bool {
    let next = corners.iter().cycle().skip(1);
    let crossed = corners.iter().zip(next).filter(|((x1, y1), (x2, y2))| {
        if (*y1 > y) == (*y2 > y) {
            return false;
        }
        let side = i128::from(x - x1) * i128::from(y2 - y1) - i128::from(x2 - x1) * i128::from(y - y1);
        (side < 0) == (y2 > y1)
    });
    crossed.count() % 2 == 1
}

pub(super) fn inside(area: &Area, value: &Value) -> Result<bool, Reason> {
    let point = |scalar: &Scalar| match scalar {
        Scalar::Point(x, y) => Some(area.holds(*x, *y)),
        _ => None,
    };
    let inside: Option<Vec<bool>> = value.scalars().iter().map(point).collect();
    let inside = inside.ok_or_else(|| wrong_type("inside", value, "points"))?;
    Ok(inside.contains(&true))
}
