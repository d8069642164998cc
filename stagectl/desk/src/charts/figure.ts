// How is a picture shown? With a sentence above it that says what it says, and a table behind it with the same figures.
import { html, type TemplateResult } from "lit";

export interface Table {
  head: string[];
  rows: string[][];
}

export function figure(name: string, say: string, drawn: TemplateResult, table: Table): TemplateResult {
  return html`<figure class="picture">
    <figcaption>${say}</figcaption>
    ${drawn}
    <details>
      <summary>${name} as table</summary>
      <div class="scroll" tabindex="0" role="region" aria-label="${name}, table">
        <table>
          <caption class="unseen">${name}</caption>
          <thead><tr>${table.head.map((one) => html`<th scope="col">${one}</th>`)}</tr></thead>
          <tbody>${table.rows.map(([first, ...rest]) => html`<tr><th scope="row">${first}</th>${rest.map((one) => html`<td>${one}</td>`)}</tr>`)}</tbody>
        </table>
      </div>
    </details>
  </figure>`;
}
