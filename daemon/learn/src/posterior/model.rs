//! The model and its records.

/// A normal prior, in units of `y`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Normal {
    pub mean: f64,
    pub sd: f64,
}

/// Half-normal prior of a standard deviation, in units of `y`: `scale` is the
/// sd of the normal that is folded. Its density is positive at zero, so a
/// spread may vanish.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spread {
    pub scale: f64,
}

/// A set of levels whose effects share one unknown spread around zero.
#[derive(Debug, Clone, PartialEq)]
pub struct Factor {
    pub name: String,
    pub spread: Spread,
}

/// What is believed before any record.
#[derive(Debug, Clone, PartialEq)]
pub struct Model {
    pub intercept: Normal,
    pub slopes: Vec<(String, Normal)>,
    pub factors: Vec<Factor>,
    /// Of the effect that the rows of one unit share.
    pub unit: Spread,
    /// Median and log-sd of the scale of the error.
    pub noise_median: f64,
    pub noise_log_sd: f64,
    /// Degrees of freedom of the error, at least 2.
    pub noise_dof: f64,
}

/// `weight` of a level's effect in a row: 1 for a plain row, a share where a
/// row is a sum over several levels.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Term {
    pub factor: usize,
    pub level: usize,
    pub weight: f64,
}

/// One record.
#[derive(Debug, Clone, PartialEq)]
pub struct Row {
    pub y: f64,
    pub unit: usize,
    pub terms: Vec<Term>,
    /// As many as the model has slopes.
    pub slopes: Vec<f64>,
    /// Times the model's scale of error; 1 for a plain row.
    pub noise_factor: f64,
}

/// Rows with the number of units, and of levels of each factor, that they name.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Records {
    pub rows: Vec<Row>,
    pub units: usize,
    pub levels: Vec<usize>,
}
