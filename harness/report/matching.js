"use strict";
/* Loudness of a loop from the powers of its blocks of 100 ms (ITU-R BS.1770-4): gating blocks of
 * 400 ms that begin every 100 ms, those over -70 LUFS, then those over 10 LU under their mean. */

const BLOCKS_A_SECOND = 10;
const BLOCKS_A_GATE = 4;

function levelOf(power) {
  return power > 0 ? -0.691 + 10 * Math.log10(power) : -Infinity;
}

function meanOver(blocks, gate) {
  const over = blocks.filter((power) => levelOf(power) > gate);
  return over.reduce((sum, power) => sum + power, 0) / Math.max(over.length, 1);
}

function loudnessOf(powers) {
  const blocks = [];
  for (let n = 0; n + BLOCKS_A_GATE <= powers.length; n += 1) {
    const four = powers.slice(n, n + BLOCKS_A_GATE);
    blocks.push(four.reduce((sum, power) => sum + power, 0) / BLOCKS_A_GATE);
  }
  const audible = levelOf(meanOver(blocks, -70));
  return levelOf(meanOver(blocks, Math.max(-70, audible - 10)));
}

/* The change in dB that brings each down to the quietest; 0 for what has no loudness. */
function matchingGains(loudnesses) {
  const known = loudnesses.filter(Number.isFinite);
  const quietest = Math.min(...known);
  return loudnesses.map((loudness) => (Number.isFinite(loudness) ? quietest - loudness : 0));
}

/* The chance to be right at least so often by tossing a coin. */
function oddsByLuck(right, trials) {
  let term = Math.pow(0.5, trials);
  let sum = 0;
  for (let k = 0; k <= trials; k += 1) {
    sum += k >= right ? term : 0;
    term *= (trials - k) / (k + 1);
  }
  return Math.min(sum, 1);
}
