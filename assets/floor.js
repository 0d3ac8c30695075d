// What makes pages quicker for those who have it; every page works without.

// What is wrong is read out and seen first.
document.querySelector(".faults")?.focus();
