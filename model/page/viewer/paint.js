// How surfaces, lines and cut faces are coloured: one cheap program each, so that a browser without a graphics card keeps up.

import { BackSide, DoubleSide, FrontSide, GLSL3, ShaderMaterial, Vector4 } from "three";

// Shared by everything that is drawn: the section plane (xyz . p > w is cut away; zero: no section).
export const cut = { value: new Vector4(0, 0, 0, 0) };

const VERTEX = `
uniform mat4 modelMatrix; uniform mat4 viewMatrix; uniform mat4 projectionMatrix; uniform mat3 normalMatrix;
in vec3 position; in vec3 normal; out vec3 place; out vec3 facing;
void main() {
  vec4 p = modelMatrix * vec4(position, 1.0);
  place = p.xyz; facing = normalMatrix * normal;
  gl_Position = projectionMatrix * viewMatrix * p;
}`;

const SURFACE = `
precision highp float;
uniform vec4 cut; uniform vec3 colour; uniform float alpha; uniform float stripes; uniform float lit;
in vec3 place; in vec3 facing; out vec4 painted;
void main() {
  if (dot(cut.xyz, place) > cut.w) discard;
  vec3 n = normalize(facing); if (!gl_FrontFacing) n = -n;
  float key = max(dot(n, vec3(0.36, 0.56, 0.745)), 0.0);
  float side = max(dot(n, vec3(-0.8, 0.1, 0.59)), 0.0);
  vec3 c = colour * mix(1.0, 0.50 + 0.52 * key + 0.16 * side, lit) + vec3(0.10) * pow(key, 18.0) * lit;
  if (stripes > 0.5 && mod(gl_FragCoord.x + gl_FragCoord.y, stripes) < 4.5) c = mix(c, vec3(0.95, 0.75, 0.1), 0.85);
  painted = vec4(c, alpha);
}`;

const LINE = `
precision highp float;
uniform vec4 cut; uniform vec3 colour; uniform float alpha; in vec3 place; in vec3 facing; out vec4 painted;
void main() { if (dot(cut.xyz, place) > cut.w) discard; painted = vec4(colour, alpha); }`;

const LINE_VERTEX = VERTEX.replace("in vec3 normal;", "").replace("normalMatrix * normal", "vec3(0.0)");

// Cut faces carry strokes, whose slant differs from material to material: colour is never the only difference.
const CAP = `
precision highp float;
uniform vec3 colour; uniform float slant; in vec3 place; in vec3 facing; out vec4 painted;
void main() {
  vec2 p = gl_FragCoord.xy; float s = sin(slant), c = cos(slant);
  float stroke = smoothstep(0.8, 1.6, abs(mod(p.x * c + p.y * s, 9.0) - 4.5));
  painted = vec4(mix(colour * 0.45, colour * 0.9 + 0.08, stroke), 1.0);
}`;

const raw = (words) => new ShaderMaterial({ glslVersion: GLSL3, ...words });
const plain = (text) => text.replace(/uniform mat4 (modelMatrix|viewMatrix|projectionMatrix);|uniform mat3 normalMatrix;|in vec3 (position|normal);/g, "");

export function surfacePaint(colour, alpha) {
  const material = raw({
    vertexShader: plain(VERTEX), fragmentShader: SURFACE, side: alpha < 1 ? DoubleSide : FrontSide,
    uniforms: { cut, colour: { value: colour }, alpha: { value: alpha }, stripes: { value: 0 }, lit: { value: 1 } },
    polygonOffset: true, polygonOffsetFactor: 1, polygonOffsetUnits: 1,
  });
  return withAlpha(material, alpha);
}

export function withAlpha(material, alpha) {
  material.uniforms.alpha.value = alpha;
  material.transparent = alpha < 1;
  material.depthWrite = alpha >= 1;
  return material;
}

export const linePaint = (colour, alpha) =>
  withAlpha(raw({ vertexShader: plain(LINE_VERTEX), fragmentShader: LINE, uniforms: { cut, colour: { value: colour }, alpha: { value: alpha } } }), alpha);

export const capPaint = (colour, slant, more) =>
  raw({ vertexShader: plain(VERTEX), fragmentShader: CAP, side: DoubleSide, uniforms: { colour: { value: colour }, slant: { value: slant } }, ...more });

export const countPaint = (back, more) =>
  raw({ vertexShader: plain(VERTEX), fragmentShader: SURFACE, side: back ? BackSide : FrontSide, colorWrite: false, depthWrite: false, depthTest: false,
    uniforms: { cut, colour: { value: [0, 0, 0] }, alpha: { value: 1 }, stripes: { value: 0 }, lit: { value: 0 } }, ...more });
