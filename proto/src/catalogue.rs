//! Catalogue messages to and from [`baywright_terms::catalogue`].
