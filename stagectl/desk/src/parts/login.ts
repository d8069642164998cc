// How does a person come in? With a name and a password; both may be pasted or filled in by a password manager.
import { html, nothing, type TemplateResult } from "lit";
import type { Desk } from "../desk";

export function login(desk: Desk): TemplateResult {
  const come = (event: SubmitEvent): void => {
    event.preventDefault();
    const data = new FormData(event.target as HTMLFormElement);
    void desk.come(String(data.get("name") ?? ""), String(data.get("password") ?? ""));
  };
  return html`<main class="served">
    <h1>This house asks for a name and a password.</h1>
    <form class="login" @submit=${come}>
      <p><label for="name">Name</label><input id="name" name="name" autocomplete="username" required /></p>
      <p><label for="password">Password</label><input id="password" name="password" type="password" autocomplete="current-password" required /></p>
      <p><button class="act" type="submit">Come in</button></p>
      ${desk.login ? html`<p class="bad" role="alert">${desk.login}</p>` : nothing}
    </form>
    <p>A guest has a link of their own. From a terminal: <code>stagectl login</code>.</p>
  </main>`;
}
