//! Linear mixed models with crossed and nested random intercepts, by REML.
//!
//! # The model
//!
//! ```text
//!     y = X β + Σₖ Zₖ bₖ + ε,    bₖ ~ N(0, σ²ₖ I),    ε ~ N(0, σ² I)
//! ```
//!
//! X holds the fixed effects, Zₖ says which level of the k-th grouping each row
//! belongs to. Groupings may cross, nest, or lie to each other anyhow. Variances
//! are estimated by restricted maximum likelihood (Patterson and Thompson 1971):
//! the likelihood of what the fixed effects leave of y, so that estimating β does
//! not make σ² too small.
//!
//! ```
//! use baywright_learn::mixed::{Column, Data, Grouping, Options, fit};
//!
//! let data = Data {
//!     response: vec![1.2, 1.4, 2.9, 3.1, 2.0, 2.3],
//!     fixed: vec![Column::intercept(6)],
//!     groupings: vec![Grouping::new("batch", &["a", "a", "b", "b", "c", "c"])],
//! };
//! let fit = fit(&data, Options::default())?;
//! assert!(fit.convergence.converged);
//! // Balanced: the overall mean, and (mean square between − within) / 2.
//! assert!((fit.fixed[0].estimate - 2.15).abs() < 1e-9);
//! assert!((fit.groupings[0].variance - 0.708_333).abs() < 1e-5);
//! # Ok::<(), baywright_learn::mixed::DataError>(())
//! ```
//!
//! # The criterion
//!
//! With relative variances τₖ = σ²ₖ/σ², θₖ = √τₖ and Λ = diag(θ), the penalised
//! least squares of Bates, Mächler, Bolker and Walker (2015, section 3) give
//!
//! ```text
//!     r²(θ) = min over u, β of ‖y − Z Λ u − X β‖² + ‖u‖²
//!     d(θ)  = ln det(ΛZ'ZΛ + I) + ln det(X'V⁻¹X)
//!             + (n − p) (1 + ln(2π r²(θ) / (n − p))),    V = I + Σ τₖ ZₖZₖ'
//! ```
//!
//! d is −2 × the restricted log-likelihood with β and σ² profiled out, in the very
//! form that lme4 prints as *REML criterion*. It depends on the variances through
//! τ alone. At the minimum σ² = r²/(n − p) and bₖ = θₖ uₖ, the conditional means.
//!
//! # The equations
//!
//! Fixed effects are made orthonormal first and their projection is taken off y
//! (module `basis`); that changes d by a known constant and keeps its digits.
//! Cross-products are formed once, and each τ only scales them. The longest chain
//! of nested groupings, counted in levels, is eliminated level by level: its
//! blocks are diagonal and stay so (`layout`, `factor`). What is left (the other
//! groupings' levels and the fixed effects) is dense and goes to a blocked
//! Cholesky factorisation. With three crossed groupings of 3,000, 1,100 and 28
//! levels that is of order 1,130.
//!
//! # The search
//!
//! With P = V⁻¹ − V⁻¹X(X'V⁻¹X)⁻¹X'V⁻¹ the derivatives are exact:
//!
//! ```text
//!     ∂d/∂τₖ = tr Zₖ'PZₖ − (n − p) ‖Zₖ'Py‖² / r²
//! ```
//!
//! The trace needs the diagonal of the inverse only: the dense inverse, and the
//! entries for eliminated levels from it by the recursion of Takahashi, Fagan and
//! Chin (1973). The curvature is the average information of Gilmour, Thompson and
//! Cullis (1995), the mean of observed and expected, which costs one solve for
//! each grouping and is never indefinite. Newton steps within τ ≥ 0 start at Rao's
//! (1971) moment estimates (`start`, `optimise`).
//!
//! Zero is an ordinary value of τ. A grouping without variance leaves the
//! equations altogether, its slope from the right is exact as well, and it stays
//! out only while that slope is not negative. Where groupings can stand in for
//! each other, d may have more than one minimum, so small problems are searched
//! from several points and all are once more where a variance came out as zero.
//!
//! # What is refused
//!
//! Values that are not finite, groupings with one level or with as many as there
//! are rows, fewer rows than fixed effects need: see [`DataError`]. A fixed effect
//! that is a combination of those before it is left out and named in
//! [`Fit::dropped`]. A response that varies nowhere within a grouping's levels has
//! no residual variance; [`Convergence::unbounded`] says so.
//!
//! # Sources
//!
//! * D. Bates, M. Mächler, B. Bolker, S. Walker: Fitting linear mixed-effects
//!   models using lme4. J. Stat. Softw. 67(1), 2015, doi:10.18637/jss.v067.i01.
//! * H. D. Patterson, R. Thompson: Recovery of inter-block information when block
//!   sizes are unequal. Biometrika 58, 1971, 545–554.
//! * A. R. Gilmour, R. Thompson, B. R. Cullis: Average information REML. Biometrics
//!   51, 1995, 1440–1450.
//! * K. Takahashi, J. Fagan, M.-S. Chin: Formation of a sparse bus impedance matrix
//!   and its application to short circuit study. Proc. 8th PICA Conf., 1973.
//! * C. R. Rao: Minimum variance quadratic unbiased estimation of variance
//!   components. J. Multivariate Anal. 1, 1971, 445–456.

mod basis;
mod data;
mod factor;
mod fitted;
mod layout;
mod optimise;
mod profile;
mod start;

pub use data::{Coding, Column, Data, DataError, Grouping, REMAINDER_MAX, ROWS_MAX};
pub use fitted::{
    Convergence, Fit, Fitted, FixedEffect, GroupingFit, LevelEffect, Options, Prediction, fit,
};
pub use profile::Profile;
