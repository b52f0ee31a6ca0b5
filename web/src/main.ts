import { mount } from 'svelte';
import './page.css';
import Page from './parts/Page.svelte';

const target = document.getElementById('page');
if (target) mount(Page, { target });
