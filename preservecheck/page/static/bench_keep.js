// Keeps what is typed at the bench in this browser, beside the formula of the tab.

import { keeper } from "/static/keep.js";

export const MINE = /^(cool|drop|sheet)-/;
const ROW = /^(cool|drop)-\d/;

export const hasReadings = (pairs) => pairs.some(([name]) => ROW.test(name));
// What is pasted afterwards, in the same tab.
export const afterwards = keeper("after", /^after-/, () => false).kept;
export const { save, kept, before } = keeper("bench", MINE, hasReadings);
