/* What a script says, in the language of its page: the page brings the words of its language along, English needs none.
   {0}, {1} are where values come in. */
"use strict";
const WORDS = JSON.parse(document.getElementById("words")?.textContent ?? "{}");
function worded(words, ...values) {
  return (WORDS[words] ?? words).replace(/\{(\d)\}/g, (hole, number) => String(values[number] ?? hole));
}
