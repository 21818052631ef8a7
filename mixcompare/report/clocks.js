"use strict";

// A place on one clock, from rows of places on both; columns by number.
function interpolate(rows, value, from, to) {
  let low = 0;
  let high = rows.length - 1;
  while (high - low > 1) {
    const middle = (low + high) >> 1;
    if (rows[middle][from] <= value) low = middle;
    else high = middle;
  }
  const share = (value - rows[low][from]) / (rows[high][from] - rows[low][from]);
  return rows[low][to] + share * (rows[high][to] - rows[low][to]);
}
