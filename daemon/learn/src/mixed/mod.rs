//! Linear mixed models with crossed and nested scalar random intercepts, by
//! restricted maximum likelihood.
