// Every page: what htmx makes livelier. A form or link marked hx-* answers without a page load; without this script the same
// address answers as a page.
import htmx from "htmx.org";
import { liveFlight } from "./flight";

htmx.config.history = "reload"; // back shows the address as a page, so that every script of it starts afresh
htmx.config.morphIgnore.push("open"); // what a person opened or closed stays so

function start(): void {
  const flight = document.getElementById("flight");
  if (flight) liveFlight(flight);
}

if (document.readyState === "loading") document.addEventListener("DOMContentLoaded", start);
else start();
