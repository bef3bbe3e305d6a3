//! One runner crosses a timing point once.
