// Pure helpers of the page: nothing here touches the document.

/** How long something has lasted: 0:24, 12:05, 1:02:03. */
export function lasted(seconds) {
  const whole = Math.max(0, Math.floor(seconds));
  const [h, m, s] = [Math.floor(whole / 3600), Math.floor(whole / 60) % 60, whole % 60];
  const two = (n) => String(n).padStart(2, "0");
  return h ? `${h}:${two(m)}:${two(s)}` : `${m}:${two(s)}`;
}

/** JSON Merge Patch (RFC 7396): null takes a member away. */
export function merge(target, patch) {
  if (patch === null || typeof patch !== "object" || Array.isArray(patch)) return patch;
  const made = target !== null && typeof target === "object" && !Array.isArray(target) ? { ...target } : {};
  for (const [key, value] of Object.entries(patch)) {
    if (value === null) delete made[key];
    else made[key] = merge(made[key], value);
  }
  return made;
}

/** Levels of a minute, whole dB from -72 to 0, as an SVG path in a box of 60 by 20. */
export function levelPath(levels) {
  const from = 60 - levels.length;
  return levels.map((db, n) => `${n ? "L" : "M"}${from + n + 0.5} ${(-db / 72 * 19 + 0.5).toFixed(1)}`).join("");
}

/** Splits what came of an event stream; returns the messages and the rest. */
export function messages(text) {
  const parts = text.split("\n\n");
  const rest = parts.pop();
  return [parts.filter((part) => part.startsWith("data:")).map((part) => part.slice(5)), rest];
}
