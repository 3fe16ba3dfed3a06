// @ts-check
// Runs shared out on a cluster that exists: the address is kept as long as the page is open.

import { html, signal } from "./vendor/preact.js";

const address = signal("");

/** What a question says of it. */
export const shared = () => address.value ? { cluster: address.value } : {};

export const Cluster = () => html`<details><summary>Share the runs on a cluster</summary>
  <p><label for="cluster">address of a dask scheduler that you have, e.g. tcp://10.0.0.5:8786</label>
    <input id="cluster" autocomplete="off" value=${address.value} onChange=${(e) => { address.value = e.target.value.trim(); }}/></p>
  <p class="note">Left out, the runs share the cores of this machine.</p></details>`;
