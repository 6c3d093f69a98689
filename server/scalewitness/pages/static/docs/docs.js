/* The API to read and try out. Swagger UI, from its own package's files, is only started here, so
   that the page needs no script or style but files. */

const place = /** @type {HTMLElement} */ (document.getElementById("docs"));
globalThis.SwaggerUIBundle({
  domNode: place,
  url: place.dataset.schema,
  presets: [globalThis.SwaggerUIBundle.presets.apis],
  layout: "BaseLayout",
  deepLinking: true,
  // By subject: of more than 124 operations at once it draws ten (measured).
  docExpansion: "none",
  validatorUrl: "none", // nothing is asked of other hosts
});
